package schedule

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/storage"
)

func TestASearchIsDoneByTwoSlots(t *testing.T) {
	tell(t, Options{Slots: 2}, func(n *night) {
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
	tell(t, Options{}, func(n *night) {
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
