package schedule

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/server/engine"
	"turnwright/server/work"
	"turnwright/storage"
)

func TestASearchIsDoneByTwoSlots(t *testing.T) {
	tell(t, Options{Slots: 2}, func(t *testing.T, n *night) {
		f := &fake{lengths: 3, units: 10, unit: time.Second, closes: true}
		n.submit("night", f)
		took := n.until("night", storage.Done, time.Minute)
		assert.Less(t, took, 17*time.Second, "15 seconds of work each")
		n.whole("night", f)
		assert.Equal(t, 33, f.times())
		assert.EqualValues(t, 30, n.runner.counts.Units)
		require.Equal(t, 30*time.Second, n.search("night").Used)
		n.sound()
	})
}

// A worker that dies says nothing any more. Its units go to another when their time is
// over, and what it reports after that counts only as far as nobody else was given the unit.
func TestACrashedWorkersUnitsGoToAnother(t *testing.T) {
	tell(t, Options{}, func(t *testing.T, n *night) {
		f := &fake{lengths: 1, units: 2, unit: time.Minute}
		hall, attic := n.process("hall"), n.process("attic")
		n.submit("night", f)
		first, second := hall.lease(time.Minute), hall.lease(time.Minute)
		hall.keep(time.Minute, first, second)

		begun := time.Now() // it is silent from here on
		again := attic.lease(time.Minute)
		assert.InDelta(t, LeaseTime.Seconds(), time.Since(begun).Seconds(), 1.5)
		assert.Greater(t, again.Epoch, first.Epoch)
		assert.ElementsMatch(t, hall.beat(first, second), ids(first, second), "it may drop what it had")

		same, other := first, second // of hall, the one that attic has now and the one that nobody has
		if again.Index != first.Index {
			same, other = second, first
		}
		require.ErrorIs(t, hall.report(same), storage.ErrStale)
		require.NoError(t, hall.report(other), "nobody else has it")
		attic.keep(time.Minute, again)
		require.NoError(t, attic.report(again))
		require.NoError(t, hall.report(same), "it says the same as the one before")
		n.until("night", storage.Done, time.Second)
		n.whole("night", f)
		assert.EqualValues(t, 2, n.runner.counts.Units)
		assert.EqualValues(t, 2, n.runner.counts.Lost)
		assert.EqualValues(t, 0, n.runner.counts.Mismatches)
	})
}

// What stops a job is not a failure of its search, even where the two come together: a
// search that is paused and resumed before its job noticed goes on.
func TestASearchThatIsPausedAndResumedAtOnceGoesOn(t *testing.T) {
	for _, at := range []time.Duration{0, time.Millisecond, 500 * time.Millisecond, 1500 * time.Millisecond, 3 * time.Second} {
		tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
			f := &fake{lengths: 2, units: 2, unit: time.Second, closes: true, tables: []engine.Table{table("t", 1, time.Second)}}
			n.submit("night", f)
			time.Sleep(at)
			for range 3 {
				n.move("night", storage.Paused)
				n.move("night", storage.Queued)
			}
			n.until("night", storage.Done, time.Minute)
			n.whole("night", f)
			assert.NotContains(t, n.log.text(), "level=ERROR")
		})
	}
}

// Somebody who doesn't wait for the answer to a report does no harm to the search.
func TestAReportThatNobodyWaitsForDoesNoHarm(t *testing.T) {
	tell(t, Options{}, func(t *testing.T, n *night) {
		hangUp := func() {}
		n.faults(func(call string) error {
			if call == "CommitUnit" {
				hangUp()
			}
			return nil
		})
		f := &fake{lengths: 1, units: 2, unit: time.Second}
		hall := n.process("hall")
		n.submit("night", f)
		l := hall.lease(time.Minute)
		call, cancel := context.WithCancel(t.Context())
		hangUp = cancel
		require.ErrorIs(t, n.runner.Report(call, l.ID, f.report(l.Length, l.Index), time.Second), context.Canceled)
		synctest.Wait()
		assert.Equal(t, storage.Running, n.search("night").State)
		require.NoError(t, hall.report(l), "it is tried again")
		require.NoError(t, hall.report(hall.lease(time.Second)))
		n.until("night", storage.Done, time.Second)
		n.whole("night", f)
	})
}

// A search that was taken away while its job could not be told of it is left alone,
// and goes on when it is resumed.
func TestAPauseThatNobodyWasToldOf(t *testing.T) {
	tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
		f := &fake{lengths: 2, units: 4, unit: time.Second}
		n.submit("night", f)
		time.Sleep(1500 * time.Millisecond)
		_, err := n.store.Move(t.Context(), storage.Request{}, "night", storage.Paused, storage.Detail{})
		require.NoError(t, err)
		time.Sleep(5 * time.Second)
		n.sound()
		assert.Empty(t, n.runner.jobs)
		n.move("night", storage.Queued)
		n.until("night", storage.Done, time.Minute)
		n.whole("night", f)
	})
}

// Where a unit can't be brought back, as the store fails, a slot has it no more, and
// it is done again.
func TestAUnitThatCantBeBroughtBackIsDoneAgain(t *testing.T) {
	ioError := errors.New("input/output error")
	for call, most := range map[string]time.Duration{
		"GrantUnit": retryPause + 6*time.Second, "CommitUnit": retryPause + 6*time.Second,
		"FailUnit": 5 * time.Second, "ReturnUnit": 5 * time.Second, "Search": retryPause + 6*time.Second,
	} {
		t.Run(call, func(t *testing.T) {
			tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
				failed := 0
				n.faults(func(now string) error {
					if now == call && failed == 0 && len(n.runner.jobs) > 0 && (call == "GrantUnit" || len(n.runner.leases) > 0) {
						failed++
						return ioError
					}
					return nil
				})
				hiccup := true
				f := &fake{lengths: 1, units: 3, unit: time.Second, broken: func(_, index int) error {
					if !hiccup || index != 1 {
						return nil
					}
					hiccup = false
					switch call {
					case "FailUnit":
						return errors.New("a bug")
					case "ReturnUnit":
						return work.ErrNotHere
					}
					return nil
				}}
				n.submit("night", f)
				n.until("night", storage.Done, most)
				assert.Equal(t, 1, failed)
				n.whole("night", f)
				n.sound()
			})
		})
	}
}
