package schedule

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/server/engine"
	"turnwright/server/share"
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
		assert.EqualValues(t, 33, n.runner.counts.Units)
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
		synctest.Wait()
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
		require.ErrorIs(t, n.runner.Report(call, "hall", l.ID, f.report(l.Length, l.Index), time.Second), context.Canceled)
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

// What workers of other processes have they keep over a restart of the server, however long
// its tables take, and from when the search goes on they have all their time again.
func TestLeasesAreKeptOverARestart(t *testing.T) {
	tell(t, Options{}, func(t *testing.T, n *night) {
		slow := table("t", 1, time.Second)
		read := slow.Read
		slow.Read = func(r io.Reader) (engine.Content, error) {
			time.Sleep(40 * time.Second)
			return read(r)
		}
		f := &fake{lengths: 1, units: 4, unit: 10 * time.Second, tables: []engine.Table{slow}}
		hall, attic := n.process("hall"), n.process("attic")
		n.submit("night", f)
		a, b, c := hall.lease(time.Minute), hall.lease(time.Minute), hall.lease(time.Minute)
		hall.keep(5*time.Second, a, b, c)
		n.restart()
		hall.keep(10*time.Second, a, b, c)
		require.NoError(t, hall.report(a), "before the search is under way again")
		hall.keep(29*time.Second, b, c)
		attic.none()
		time.Sleep(2 * time.Second) // now it goes on

		d := attic.lease(time.Second)
		assert.Equal(t, 3, d.Index, "the one that nobody had")
		attic.none()
		hall.keep(10*time.Second, b)
		require.NoError(t, hall.report(b))
		require.NoError(t, attic.report(d))
		begun := time.Now()
		again := attic.lease(time.Minute)
		assert.Equal(t, c.Index, again.Index)
		assert.Greater(t, again.Epoch, c.Epoch)
		assert.InDelta(t, LeaseTime.Seconds()-10, time.Since(begun).Seconds(), 1.5, "from when it went on")
		assert.Equal(t, ids(c), hall.beat(c))
		require.NoError(t, attic.report(again))
		n.until("night", storage.Done, time.Second)
		n.whole("night", f)
		assert.Equal(t, 0, f.times(), "they only said so")
	})
}

// The server's own slots died with it: what they had is given out at once.
func TestLeasesOfOwnSlotsAreNotKept(t *testing.T) {
	tell(t, Options{Slots: 2}, func(t *testing.T, n *night) {
		f := &fake{lengths: 1, units: 4, unit: time.Second}
		n.submit("night", f)
		time.Sleep(500 * time.Millisecond)
		n.stop()
		for index := range 4 { // as if it had been killed
			_, err := n.store.GrantUnit(t.Context(), "night", 1, index, ownName)
			require.NoError(t, err)
		}
		n.start()
		assert.Less(t, n.until("night", storage.Done, time.Minute), 2500*time.Millisecond)
		n.whole("night", f)
	})
}

// When the server stops its slots give their units back, and what others do goes on.
func TestASlotGivesItsUnitBackWhenTheServerStops(t *testing.T) {
	tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
		f := &fake{lengths: 1, units: 2, unit: time.Minute}
		hall := n.process("hall")
		n.submit("night", f)
		l := hall.lease(time.Second)
		time.Sleep(time.Second)
		n.stop()
		assert.Empty(t, hall.beat(l), "the server may be there again")
		leases, err := n.store.Leases(t.Context(), "night", 1)
		require.NoError(t, err)
		for index, lease := range leases {
			assert.Equal(t, index == l.Index, lease.Worker == "hall")
			assert.Equal(t, index != l.Index, lease.Worker == "")
		}
		n.start()
	})
}

// Before the searches were read nothing begins: nobody could stop it.
func TestNothingBeginsBeforeTheRunnerRuns(t *testing.T) {
	tell(t, Options{}, func(t *testing.T, n *night) {
		f := &fake{lengths: 1, units: 1, unit: time.Second}
		n.stop()
		var readable atomic.Bool
		n.wrap = func(s Store) Store { return &unread{s, &readable} }
		n.start()
		n.submit("night", f)
		hall := n.process("hall")
		hall.none()
		time.Sleep(time.Minute)
		hall.none()
		assert.Empty(t, hall.beat(&work.Lease{ID: work.ID{Search: "night", Length: 1, Epoch: 1}}), "nobody can tell")
		readable.Store(true)
		require.NoError(t, hall.report(hall.lease(time.Minute)))
		n.until("night", storage.Done, time.Second)
	})
}

// unread is a store whose searches can't be listed for now.
type unread struct {
	Store
	readable *atomic.Bool
}

func (u *unread) ActiveSearches(ctx context.Context, after uint64, limit int) ([]storage.Search, error) {
	if !u.readable.Load() {
		return nil, errors.New("input/output error")
	}
	return u.Store.ActiveSearches(ctx, after, limit)
}

// A search that could not be read when the runner was told of it is not forgotten.
func TestASearchThatCantBeReadForNowIsReadLater(t *testing.T) {
	tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
		var broken atomic.Bool
		n.faults(func(call string) error {
			if broken.Load() && call == "Search" {
				return errors.New("input/output error")
			}
			return nil
		})
		f := &fake{lengths: 1, units: 3, unit: 10 * time.Second}
		broken.Store(true)
		n.submit("night", f)
		time.Sleep(10 * time.Second)
		broken.Store(false)
		time.Sleep(2 * time.Second)
		assert.Equal(t, storage.Running, n.search("night").State)
		broken.Store(true)
		n.move("night", storage.Cancelled)
		broken.Store(false)
		time.Sleep(2 * time.Second)
		n.sound()
		assert.Empty(t, n.runner.jobs)
		assert.Empty(t, n.runner.known)
	})
}

// An id that comes back is another search: a worker that is still at a unit of the
// first may drop it, and its report says nothing of the second.
func TestAnIDThatComesBackWhileAWorkerIsAtTheFirst(t *testing.T) {
	tell(t, Options{}, func(t *testing.T, n *night) {
		first := &fake{lengths: 1, units: 2, unit: time.Minute}
		second := &fake{lengths: 1, units: 2, unit: time.Minute}
		hall, attic := n.process("hall"), n.process("attic")
		n.submit("night", first)
		old := hall.lease(time.Minute)
		hall.keep(time.Second, old)
		n.move("night", storage.Cancelled)
		n.delete("night")
		n.submit("night", second)
		assert.Equal(t, ids(old), hall.beat(old))
		require.ErrorIs(t, hall.report(old), storage.ErrStale)
		l := attic.lease(time.Minute)
		require.ErrorIs(t, hall.report(old), storage.ErrStale)
		require.ErrorIs(t, n.runner.Fail(t.Context(), "hall", old.ID, errors.New("a bug")), storage.ErrStale)
		require.ErrorIs(t, n.runner.Return(t.Context(), "hall", old.ID), storage.ErrStale)
		n.sound()
		require.NoError(t, attic.report(l))
		require.NoError(t, attic.report(attic.lease(time.Second)))
		n.until("night", storage.Done, time.Second)
		n.whole("night", second)
		require.ErrorIs(t, hall.report(old), storage.ErrStale)
		assert.Empty(t, n.search("night").Alarms)
	})
}

// What a worker says of another's unit changes nothing.
func TestAWorkerSpeaksOfItsOwnUnits(t *testing.T) {
	tell(t, Options{}, func(t *testing.T, n *night) {
		f := &fake{lengths: 1, units: 1, unit: time.Second}
		hall, thief := n.process("hall"), n.process("thief")
		n.submit("night", f)
		l := hall.lease(time.Minute)
		wrong := f.report(l.Length, l.Index)
		wrong.Covered--
		require.ErrorIs(t, thief.report(l), storage.ErrStale)
		require.ErrorIs(t, n.runner.Report(t.Context(), "thief", l.ID, wrong, time.Second), ErrRefused)
		require.ErrorIs(t, n.runner.Fail(t.Context(), "thief", l.ID, errors.New("a bug")), storage.ErrStale)
		require.ErrorIs(t, n.runner.Return(t.Context(), "thief", l.ID), storage.ErrStale)
		thief.none()
		assert.Zero(t, n.runner.counts)
		assert.Empty(t, hall.beat(l))
		require.NoError(t, hall.report(l))
		n.until("night", storage.Done, time.Second)
		n.whole("night", f)
	})
}

// Two reports of one unit that differ are an alarm, and the search goes on with the first.
func TestReportsThatDifferAreAnAlarm(t *testing.T) {
	tell(t, Options{}, func(t *testing.T, n *night) {
		f := &fake{lengths: 1, units: 2, unit: time.Second}
		hall, attic := n.process("hall"), n.process("attic")
		n.submit("night", f)
		first, other := hall.lease(time.Minute), attic.lease(time.Second)
		require.NoError(t, hall.report(first))
		wrong := f.report(first.Length, first.Index)
		wrong.Found = nil
		for range 3 {
			require.NoError(t, n.runner.Report(t.Context(), "hall", first.ID, wrong, time.Second))
		}
		s := n.search("night")
		require.Len(t, s.Alarms, 1, "the same is said once")
		assert.Contains(t, s.Alarms[0], "two reports of unit 0 of length 1 differ")
		assert.Contains(t, n.log.text(), "level=ERROR msg=alarm search=night")
		assert.Equal(t, Counts{Units: 1, Mismatches: 3, Alarms: 3, Leaves: f.covered()}, n.runner.counts)
		assert.Equal(t, storage.Running, s.State)
		require.NoError(t, attic.report(other))
		n.until("night", storage.Done, time.Second)
		assert.Equal(t, 2, n.search("night").Findings)
	})
}

// A report that can't be right is refused, and counts as a failure of who brought it.
func TestAReportThatCantBeRightIsRefused(t *testing.T) {
	tell(t, Options{}, func(t *testing.T, n *night) {
		f := &fake{lengths: 1, units: 1, unit: time.Second}
		hall := n.process("hall")
		n.submit("night", f)
		l := hall.lease(time.Minute)
		wrong := f.report(l.Length, l.Index)
		wrong.Covered--
		require.ErrorIs(t, n.runner.Report(t.Context(), "hall", l.ID, wrong, time.Second), ErrRefused)
		assert.EqualValues(t, 1, n.runner.counts.Failures)
		require.NoError(t, hall.report(hall.lease(time.Second)))
		n.until("night", storage.Done, time.Second)
		n.whole("night", f)
	})
}

// A computer that can do no unit fails faster than others work; but they do its units.
func TestABadComputerSetsNothingAside(t *testing.T) {
	tell(t, Options{}, func(t *testing.T, n *night) {
		f := &fake{lengths: 2, units: 30, unit: time.Second, step: 100 * time.Millisecond}
		good, bad := n.process("good"), n.process("bad")
		bad.bad = errors.New("a bug")
		defer bad.works(1)()
		defer good.works(2)()
		n.submit("night", f)
		n.until("night", storage.Done, 2*time.Minute)
		n.whole("night", f)
		assert.Positive(t, n.runner.counts.Failures)
	})
}

// A unit that can't be done is set aside. All others are done, what they found stays, and
// the search says why it failed.
func TestAUnitThatFailsIsSetAside(t *testing.T) {
	for _, how := range []error{errors.New("a bug"), nil} {
		tell(t, Options{Slots: 2}, func(t *testing.T, n *night) {
			f := &fake{lengths: 2, units: 5, unit: time.Second, closes: true, broken: func(length, index int) error {
				if length == 1 && index == 3 {
					if how == nil {
						panic("a bug")
					}
					return how
				}
				return nil
			}}
			n.submit("night", f)
			n.until("night", storage.Failed, time.Minute)
			s := n.search("night")
			assert.Contains(t, s.Error, "1 units of length 1 could not be done, so nothing is proven from there on; the alarms say why")
			require.Len(t, s.Alarms, 1)
			assert.Contains(t, s.Alarms[0], "unit 3 of length 1 was set aside after 8 failures")
			assert.Contains(t, s.Alarms[0], "a bug")
			assert.Equal(t, 0, s.Proven)
			assert.Equal(t, 9, s.Findings)
			assert.Equal(t, []int{5, 6}, []int{s.Lengths[0].Done, s.Lengths[1].Done})
			assert.EqualValues(t, storage.MaxLosses, n.runner.counts.Failures, "all of one worker")
			n.sound()
		})
	}
}

// A unit that is lost again and again is set aside too: it may be what kills them.
func TestAUnitThatIsLostAgainAndAgainIsSetAside(t *testing.T) {
	tell(t, Options{}, func(t *testing.T, n *night) {
		f := &fake{lengths: 1, units: 2, unit: time.Second}
		hall := n.process("hall")
		n.submit("night", f)
		good := hall.lease(time.Minute)
		require.NoError(t, hall.report(good))
		for range storage.MaxLosses {
			hall.lease(time.Minute)
		}
		n.until("night", storage.Failed, time.Minute)
		assert.Contains(t, n.search("night").Alarms[0], "was set aside: it was lost 8 times")
		assert.EqualValues(t, storage.MaxLosses, n.runner.counts.Lost)
	})
}

// A search can be paused, cancelled and deleted in each state. Its workers stop within a
// second, those of other processes at their next heartbeat; what is in stays.
func TestASearchIsTakenAwayInEachState(t *testing.T) {
	for _, c := range []struct {
		state string
		after time.Duration // from its submission
		done  int           // units that are in by then
	}{
		{"queued", 0, 0},
		{"preparing", 2 * time.Second, 0},
		{"running", 7500 * time.Millisecond, 1},
		{"in the second stage", 11500 * time.Millisecond, 3},
		{"in the second length", 14500 * time.Millisecond, 5},
		{"done", 30 * time.Second, 10},
	} {
		for _, to := range []storage.State{storage.Paused, storage.Cancelled} {
			t.Run(c.state+" to "+string(to), func(t *testing.T) {
				tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
					f := &fake{
						lengths: 2, units: 4, unit: 2 * time.Second, closes: true, tables: []engine.Table{table("t", 1, 5*time.Second)},
						cut: func(int) []int { return []int{2, 4} },
					}
					hall := n.process("hall")
					blocked := &fake{lengths: 1, units: 1, unit: time.Hour}
					if c.state == "queued" { // something else has all the memory
						blocked.tables = []engine.Table{table("b", n.opt.Memory, 0)}
						n.submit("blocked", blocked)
						time.Sleep(5 * time.Second)
						f.tables[0].Bytes = n.opt.Memory
					}
					n.submit("night", f, func(s *storage.Spec) { s.Work.Leaves = 1000 * speed })
					submitted := time.Now()
					var theirs *work.Lease
					if c.state == "running" {
						theirs = hall.lease(c.after)
					}
					time.Sleep(time.Until(submitted.Add(c.after)))
					if n.search("night").State.Ended() {
						n.delete("night")
						n.sound()
						return
					}
					before := n.search("night")
					in := 0
					for _, l := range before.Lengths {
						in += l.Done
					}
					assert.Equal(t, c.done, in)
					n.move("night", to)
					time.Sleep(10 * time.Millisecond) // as far as engines look whether they are to stop
					n.sound()
					assert.NotContains(t, n.runner.jobs, "night")
					assert.NotContains(t, n.runner.known, "night")
					after := n.search("night")
					before.State, before.Ended = after.State, after.Ended
					assert.Equal(t, before, after, "nothing else changed")
					assert.Equal(t, to, after.State)
					if theirs != nil {
						assert.Equal(t, ids(theirs), hall.beat(theirs))
						err := hall.report(theirs) // it was just done when it came to know
						if to == storage.Paused {
							require.NoError(t, err, "that is finished work")
						} else {
							require.ErrorIs(t, err, storage.ErrState)
						}
					}
					if c.state == "queued" {
						n.move("blocked", storage.Cancelled)
					}
					if to == storage.Paused {
						n.move("night", storage.Queued)
						n.until("night", storage.Done, time.Minute)
						n.whole("night", f)
					}
					n.delete("night")
					n.sound()
					assert.Empty(t, n.runner.known)
				})
			})
		}
	}
}

// A search that is deleted before anybody stopped it is gone for its workers too.
func TestASearchIsDeletedWhileItsJobGoesOn(t *testing.T) {
	tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
		f := &fake{lengths: 1, units: 3, unit: 2 * time.Second}
		hall := n.process("hall")
		n.submit("night", f)
		theirs := hall.lease(time.Minute)
		time.Sleep(time.Second)
		_, err := n.store.Move(t.Context(), storage.Request{}, "night", storage.Cancelled, storage.Detail{})
		require.NoError(t, err)
		n.delete("night") // nobody was told of the other
		time.Sleep(10 * time.Millisecond)
		n.sound()
		assert.Empty(t, n.runner.jobs)
		assert.Equal(t, ids(theirs), hall.beat(theirs))
		require.ErrorIs(t, hall.report(theirs), storage.ErrNotFound)
	})
}

// A short question during an overnight search with all slots at long units is done within
// its own work and a second, by the server's slots and by other processes alike.
func TestAShortQuestionDuringAnOvernightSearch(t *testing.T) {
	for i, c := range []struct{ own, others int }{{1, 1}, {2, 0}, {0, 2}} {
		if testing.Short() && i > 0 {
			break
		}
		tell(t, Options{Slots: c.own}, func(t *testing.T, n *night) {
			long := &fake{lengths: 1, units: 4, unit: time.Minute, tables: []engine.Table{table("long", 1<<29, 5*time.Second)}}
			short := &fake{lengths: 2, units: 3, unit: 500 * time.Millisecond, closes: true, tables: []engine.Table{table("short", 1<<20, time.Second)}}
			if c.others > 0 {
				kill := n.process("hall").works(c.others)
				defer kill()
			}
			n.submit("overnight", long)
			time.Sleep(10 * time.Second)
			work := time.Second + 2*2*500*time.Millisecond // two slots have three units to do, twice
			for i := range 3 {
				n.submit(fmt.Sprint("question", i), short, func(s *storage.Spec) { s.Classes = i }) // each asks something else
				took := n.until(fmt.Sprint("question", i), storage.Done, time.Minute)
				t.Logf("%d own slots and %d others: %v for %v of work", c.own, c.others, took, work)
				assert.LessOrEqual(t, took, work+time.Second)
				n.sound()
				work = 2 * 2 * 500 * time.Millisecond // the table is there
				time.Sleep(5 * time.Second)
			}
			n.until("overnight", storage.Done, time.Hour)
			n.whole("overnight", long)
			assert.Equal(t, 4, long.times(), "none was begun anew")
			assert.InDelta(t, (4 * time.Minute).Seconds(), n.search("overnight").Used.Seconds(), 1, "what was done between does not count")
		})
	}
}

// Units of a short question don't interrupt one another: what was begun first is in first.
func TestUnitsOfAShortQuestionComeInOneAfterAnother(t *testing.T) {
	tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
		f := &fake{lengths: 1, units: 4, unit: time.Second}
		n.submit("question", f)
		for done := range 4 {
			time.Sleep(500 * time.Millisecond)
			assert.Equal(t, done, n.search("question").Lengths[0].Done)
			time.Sleep(500 * time.Millisecond)
		}
		n.until("question", storage.Done, time.Second)
	})
}

// A search ends as it is when its time or budget is over, in whatever state it is.
func TestTimeAndBudgetEndASearch(t *testing.T) {
	f := func() *fake { return &fake{lengths: 2, units: 20, unit: time.Second, step: 100 * time.Millisecond} }
	stopIn := func(d time.Duration) func(*storage.Spec) {
		return func(s *storage.Spec) { s.Wishes.StopAt = time.Now().Add(d) }
	}
	t.Run("time", func(t *testing.T) {
		tell(t, Options{Slots: 2}, func(t *testing.T, n *night) {
			n.submit("night", f(), stopIn(5500*time.Millisecond))
			n.until("night", storage.Cancelled, 7*time.Second)
			s := n.search("night")
			assert.Equal(t, storage.EndedByStopTime, s.Reason)
			assert.GreaterOrEqual(t, s.Findings, 10, "they stay")
			n.sound() // the runner has said so by now
			assert.Equal(t, 1, strings.Count(n.log.text(), "search is over"))
		})
	})
	t.Run("budget", func(t *testing.T) {
		tell(t, Options{Slots: 2}, func(t *testing.T, n *night) {
			n.submit("night", f(), func(s *storage.Spec) { s.Wishes.CoreBudget = 8 * time.Second })
			n.until("night", storage.Cancelled, 7*time.Second)
			s := n.search("night")
			assert.Equal(t, storage.EndedByBudget, s.Reason)
			assert.LessOrEqual(t, s.Used, 12*time.Second, "what is out when it is over, and a second")
		})
	})
	t.Run("while tables are made", func(t *testing.T) {
		tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
			slow := f()
			slow.tables = []engine.Table{{Key: "stubborn", Entries: 1, Build: func(ctx context.Context, _ int, _ func(uint64)) (engine.Content, error) {
				time.Sleep(30 * time.Second) // it does not look whether it is to stop
				return blank{}, ctx.Err()
			}}}
			n.submit("night", slow, stopIn(5*time.Second))
			n.until("night", storage.Cancelled, 7*time.Second)
			time.Sleep(time.Minute)
			n.sound() // the runner has said so by now
			assert.Equal(t, 1, strings.Count(n.log.text(), "search is over"))
		})
	})
	t.Run("while it waits", func(t *testing.T) {
		tell(t, Options{}, func(t *testing.T, n *night) {
			n.submit("night", f(), stopIn(5*time.Second))
			n.until("night", storage.Cancelled, 7*time.Second)
		})
	})
	t.Run("while it is paused", func(t *testing.T) {
		for _, restart := range []bool{false, true} {
			tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
				n.submit("night", f(), stopIn(10*time.Second))
				n.submit("later", f(), stopIn(10*time.Second))
				time.Sleep(2500 * time.Millisecond)
				n.move("night", storage.Paused)
				n.move("later", storage.Paused)
				if restart {
					n.restart()
				}
				_, err := n.store.Reschedule(t.Context(), storage.Request{}, "later", func(w *storage.Wishes) { w.StopAt = time.Now().Add(time.Minute) })
				require.NoError(t, err)
				n.runner.Changed(t.Context(), "later")
				time.Sleep(7 * time.Second)
				assert.Equal(t, storage.Paused, n.search("night").State)
				n.until("night", storage.Cancelled, 2*time.Second)
				assert.Equal(t, storage.EndedByStopTime, n.search("night").Reason)
				assert.Equal(t, storage.Paused, n.search("later").State)
				n.move("later", storage.Queued)
				n.until("later", storage.Done, 50*time.Second)
				n.sound()
				assert.Equal(t, 1, strings.Count(n.log.text(), "search is over"))
			})
		}
	})
	t.Run("while it is paused, by what was out then", func(t *testing.T) {
		tell(t, Options{}, func(t *testing.T, n *night) {
			n.submit("night", &fake{lengths: 1, units: 20, unit: 9 * time.Second}, func(s *storage.Spec) { s.Wishes.CoreBudget = 8 * time.Second })
			hall := n.process("hall")
			theirs := hall.lease(time.Minute)
			hall.keep(9*time.Second, theirs)
			n.move("night", storage.Paused)
			require.NoError(t, hall.report(theirs))
			n.until("night", storage.Cancelled, 2*time.Second)
			assert.Equal(t, storage.EndedByBudget, n.search("night").Reason)
		})
	})
	t.Run("while the server is down", func(t *testing.T) {
		tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
			n.submit("night", f(), stopIn(5*time.Second))
			time.Sleep(2500 * time.Millisecond)
			n.stop()
			time.Sleep(time.Hour)
			n.start()
			s := n.search("night")
			assert.Equal(t, storage.EndedByStopTime, s.Reason)
			assert.Equal(t, 2, s.Findings)
		})
	})
	t.Run("another time is wished for", func(t *testing.T) {
		tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
			n.submit("night", f(), stopIn(5*time.Second))
			time.Sleep(2 * time.Second)
			_, err := n.store.Reschedule(t.Context(), storage.Request{}, "night", func(w *storage.Wishes) { w.StopAt = time.Time{} })
			require.NoError(t, err)
			n.runner.Changed(t.Context(), "night")
			n.until("night", storage.Done, time.Minute)
		})
	})
}

// While the disk is low a search waits, and goes on when there is room.
func TestASearchWaitsForTheDisk(t *testing.T) {
	tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
		f := &fake{lengths: 1, units: 10, unit: time.Second}
		hall := n.process("hall")
		n.submit("night", f)
		theirs := hall.lease(time.Second)
		hall.keep(2500*time.Millisecond, theirs)
		n.free.Store(0)
		hall.keep(time.Minute, theirs)
		require.ErrorIs(t, hall.report(theirs), storage.ErrDiskLow)
		assert.Equal(t, storage.Running, n.search("night").State)
		assert.Equal(t, 2, n.search("night").Findings)
		assert.Equal(t, 3, f.times(), "nothing is begun meanwhile")
		n.free.Store(1 << 40)
		require.NoError(t, hall.report(theirs))
		n.until("night", storage.Done, retryPause+10*time.Second)
		n.whole("night", f)
	})
}

// A worker that is drained finishes what it has, gets nothing more, and a new process
// under its name works again.
func TestAWorkerIsDrained(t *testing.T) {
	tell(t, Options{}, func(t *testing.T, n *night) {
		hall := n.process("hall")
		_, there := n.runner.Drain("attic")
		assert.False(t, there)
		a, there := n.runner.Drain("hall")
		assert.True(t, there && a.Draining)
		drain, err := n.runner.Attend(hall.worker())
		require.NoError(t, err)
		assert.True(t, drain)
		n.runner.mu.Lock()
		assert.Equal(t, 1, n.runner.workersNow(), "it doesn't count")
		n.runner.mu.Unlock()
		next := hall.worker()
		next.Instance = "the next"
		time.Sleep(lately)
		drain, err = n.runner.Attend(next)
		require.NoError(t, err)
		assert.False(t, drain)
	})
}

// Of two processes under one name the first has it, until nothing was heard of it for a
// while; then it is the first that is refused.
func TestTwoProcessesUnderOneName(t *testing.T) {
	tell(t, Options{}, func(t *testing.T, n *night) {
		attend := func(instance string) error {
			_, err := n.runner.Attend(Worker{Name: "hall", Instance: instance, Slots: 1})
			return err
		}
		require.NoError(t, attend("first"))
		require.ErrorIs(t, attend("second"), ErrNameTaken)
		time.Sleep(lately - time.Second)
		require.NoError(t, attend("first"))
		time.Sleep(lately - time.Second)
		require.ErrorIs(t, attend("second"), ErrNameTaken)
		time.Sleep(time.Second)
		require.NoError(t, attend("second"))
		require.ErrorIs(t, attend("first"), ErrNameTaken)
		_, err := n.runner.Attend(Worker{Name: ownName, Instance: "x", Slots: 1})
		require.ErrorIs(t, err, ErrNameTaken, "the server's own")
	})
}

// There are at most so many workers, and those of which nothing was heard for long are forgotten.
func TestWorkersAreBounded(t *testing.T) {
	tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
		attend := func(i int) error {
			_, err := n.runner.Attend(Worker{Name: fmt.Sprint("w", i), Instance: "x", Slots: 1})
			return err
		}
		for i := range maxWorkers {
			require.NoError(t, attend(i))
		}
		require.ErrorIs(t, attend(maxWorkers), ErrTooMany)
		require.NoError(t, attend(5), "who is known may say so again")
		assert.Len(t, n.runner.Workers(), maxWorkers+1)
		time.Sleep(forgotten / 2)
		require.NoError(t, attend(7))
		time.Sleep(forgotten/2 + 2*time.Second)
		require.NoError(t, attend(maxWorkers))
		all := n.runner.Workers()
		require.Len(t, all, 3)
		assert.Equal(t, []string{ownName, "w4096", "w7"}, []string{all[0].Name, all[1].Name, all[2].Name})
	})
}

// What was used is remembered over a restart, and fades.
func TestAccountsOverARestart(t *testing.T) {
	tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
		f := &fake{lengths: 1, units: 20, unit: 5 * time.Second, step: time.Second}
		n.submit("night", f)
		n.until("night", storage.Done, 3*time.Minute)
		used := func() float64 {
			n.runner.mu.Lock()
			defer n.runner.mu.Unlock()
			used, _ := n.runner.accounts.Lately(time.Now(), "")
			return used
		}
		before := used()
		assert.InDelta(t, 100, before, 2)
		n.stop()
		time.Sleep(halfLife)
		n.start()
		assert.InDelta(t, before/2, used(), 0.1)
		n.restart()
		assert.InDelta(t, before/2, used(), 0.1, "once, however often it is stored")
	})
}

// Where the clock goes back between two starts nobody's account grows, and a search
// stops at the time of day that was asked for.
func TestAClockThatWentBackBetweenTwoStarts(t *testing.T) {
	tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
		n.stop()
		ahead := share.Record{At: time.Now().Add(5 * time.Hour), Members: []share.Use{{Member: "", Used: 1000, Short: 10}}}
		require.NoError(t, n.store.KeepShares(t.Context(), ahead))
		n.start()
		used, short := n.runner.accounts.Lately(time.Now(), "")
		assert.InDelta(t, 1000, used, 0.1)
		assert.InDelta(t, 10, short, 0.1)

		f := &fake{lengths: 1, units: 1000, unit: time.Second, step: time.Second}
		at := time.Now().Add(time.Minute).Round(0) // nothing but a time of day
		n.submit("night", f, func(s *storage.Spec) { s.Wishes.StopAt = at })
		n.until("night", storage.Cancelled, 2*time.Minute)
		assert.InDelta(t, 0, n.search("night").Ended.Sub(at).Seconds(), 1.1)
	})
}

// Where the memory holds the tables of one search only, another gets them when the
// first gives way, and the first goes on later without doing anything twice.
func TestSearchesGiveWayWhereMemoryHoldsOneOnly(t *testing.T) {
	tell(t, Options{Slots: 2, Memory: 1 << 30}, func(t *testing.T, n *night) {
		long := &fake{lengths: 1, units: 40, unit: 10 * time.Second, step: time.Second, tables: []engine.Table{table("long", 1<<30, time.Second)}}
		other := &fake{lengths: 1, units: 10, unit: 10 * time.Second, step: time.Second, tables: []engine.Table{table("other", 1<<30, time.Second)}}
		n.submit("long", long)
		time.Sleep(15 * time.Second)
		n.submit("other", other, func(s *storage.Spec) { s.Wishes.Priority = 5 })
		took := n.until("other", storage.Done, 10*time.Minute)
		assert.Contains(t, n.log.text(), "search gives way for now")
		assert.Less(t, took, 75*time.Second, "the units that are out, the table, fifty seconds of work")
		assert.Equal(t, storage.Running, n.search("long").State)
		n.until("long", storage.Done, 10*time.Minute)
		n.whole("long", long)
		n.whole("other", other)
		assert.Equal(t, []int{40, 10}, []int{long.times(), other.times()})
	})
}

// A late report for a search that gave way is taken: it is a finished unit.
func TestAReportAfterASearchGaveWay(t *testing.T) {
	tell(t, Options{Memory: 1 << 30}, func(t *testing.T, n *night) {
		long := &fake{lengths: 1, units: 3, unit: 10 * time.Minute, tables: []engine.Table{table("long", 1<<30, time.Second)}}
		other := &fake{lengths: 1, units: 1, unit: 10 * time.Minute, tables: []engine.Table{table("other", 1<<30, time.Second)}}
		hall, attic := n.process("hall"), n.process("attic")
		n.submit("long", long)
		lost := hall.lease(time.Minute)
		n.submit("other", other, func(s *storage.Spec) { s.Wishes.Priority = 5 })
		l := attic.lease(time.Minute) // when hall's is over, the first gives way
		require.Equal(t, "other", l.Search)
		require.NoError(t, hall.report(lost))
		n.sound()
		assert.Equal(t, 1, n.search("long").Findings)
		require.NoError(t, attic.report(l))
		for range 2 {
			require.NoError(t, attic.report(attic.lease(time.Minute)))
		}
		n.until("long", storage.Done, time.Second)
		n.whole("long", long)
	})
}

// Of two members one has ten searches and the other one: each gets half of the cores.
func TestTwoMembersWithUnequalLoadShareTheCores(t *testing.T) {
	tell(t, Options{Slots: 2, Memory: 1 << 30}, func(t *testing.T, n *night) {
		for i := range 10 {
			f := &fake{lengths: 1, units: 200, unit: 10 * time.Second, step: time.Second, tables: []engine.Table{table(fmt.Sprint(i), 1<<20, 0)}}
			n.submit(fmt.Sprint("rowan-", i), f)
		}
		time.Sleep(5 * time.Minute)
		n.submit("sorrel-night", &fake{lengths: 1, units: 400, unit: 10 * time.Second, step: time.Second, tables: []engine.Table{table("s", 1<<20, 0)}})
		used := func() (rowan, sorrel float64) {
			for i := range 10 {
				rowan += n.search(fmt.Sprint("rowan-", i)).Used.Seconds()
			}
			return rowan, n.search("sorrel-night").Used.Seconds()
		}
		time.Sleep(15 * time.Minute) // until the second has caught up
		before, other := used()
		time.Sleep(20 * time.Minute)
		rowan, sorrel := used()
		rowan, sorrel = rowan-before, sorrel-other
		t.Logf("%v and %v core-seconds", rowan, sorrel)
		assert.InDelta(t, 2*20*60, rowan+sorrel, 30, "no core had nothing to do")
		assert.InDelta(t, 1, rowan/sorrel, 0.15)
	})
}

// Searches that ask the same are done once, and one of them goes on where the other is
// taken away.
func TestEqualSearchesAreDoneOnce(t *testing.T) {
	tell(t, Options{Slots: 1}, func(t *testing.T, n *night) {
		f := &fake{lengths: 3, units: 4, unit: time.Second}
		n.submit("first", f)
		n.submit("second", f)
		time.Sleep(6500 * time.Millisecond)
		n.move("first", storage.Cancelled)
		n.until("second", storage.Done, time.Minute)
		n.whole("second", f)
		assert.LessOrEqual(t, f.times(), 13, "no more than what was under way is done again")
		n.submit("third", f)
		n.until("third", storage.Done, time.Second)
		n.whole("third", f)
		n.sound()
		assert.Empty(t, n.runner.equal)
	})
}
