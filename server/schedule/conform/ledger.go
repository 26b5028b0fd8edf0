// Package conform holds what every ledger and every dispatcher of package schedule
// has to keep to, as tests that an implementation runs on itself:
//
//	conform.Ledger(t, func(t *testing.T) conform.Host { … })
//	conform.Dispatcher(t, func(t *testing.T) (schedule.Dispatcher, func()) { … })
//
// [Unruly] is a dispatcher that makes use of all that it may do, to try a runner with.
package conform

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/server/schedule"
	"turnwright/storage"
)

// Host is a ledger with what its tests need around it.
type Host struct {
	schedule.Ledger
	// Begin makes a search of that id whose units are being done: so many of length 1, each
	// of which covers 10 leaves.
	Begin func(id string, units int)
	// End cancels and deletes a search.
	End func(id string)
	// Move brings a search to another state.
	Move func(id string, to storage.State)
	// Search gives a search as it is now.
	Search func(id string) storage.Search
	// Reopen gives the ledger as the next process finds it.
	Reopen func() schedule.Ledger
}

// Ledger holds a ledger against what package schedule expects of one.
func Ledger(t *testing.T, open func(t *testing.T) Host) {
	for name, test := range map[string]func(*ledgerTest){
		"a unit is granted, and done":              (*ledgerTest).grantAndDo,
		"each grant voids the one before":          (*ledgerTest).grantAnew,
		"a unit that is given back is still known": (*ledgerTest).giveBack,
		"a unit is with one worker":                (*ledgerTest).theirs,
		"a done unit is done":                      (*ledgerTest).done,
		"failures set a unit aside":                (*ledgerTest).failures,
		"so do those of one worker, but later":     (*ledgerTest).failuresOfOne,
		"losses set a unit aside":                  (*ledgerTest).losses,
		"what is not there can't be granted":       (*ledgerTest).missing,
		"a search that does not run":               (*ledgerTest).states,
		"an id that comes back":                    (*ledgerTest).again,
		"a crash forgets nothing":                  (*ledgerTest).crash,
		"many at once":                             (*ledgerTest).many,
	} {
		t.Run(name, func(t *testing.T) { test(&ledgerTest{open(t), t, t.Context()}) })
	}
}

type ledgerTest struct {
	Host
	t   *testing.T
	ctx context.Context
}

const id = "night"

func (l *ledgerTest) grant(index int, worker string) storage.Lease {
	l.t.Helper()
	lease, err := l.GrantUnit(l.ctx, id, 1, index, worker)
	require.NoError(l.t, err)
	return lease
}

func report(index int, lease storage.Lease) storage.Unit {
	return storage.Unit{Length: 1, Index: index, Leaves: 10, Epoch: lease.Epoch, Worker: lease.Worker, Took: time.Second, Found: []storage.Finding{
		{ID: fmt.Sprint("c", index), Class: 1, Size: 6, Text: fmt.Sprint("w", index), Length: 1, Axes: 2},
	}}
}

// counts says how many units are done.
func (l *ledgerTest) counts(done int) {
	l.t.Helper()
	now := l.Search(id)
	assert.Equal(l.t, done, now.Lengths[0].Done)
	assert.EqualValues(l.t, 10*done, now.Lengths[0].Covered)
	assert.Equal(l.t, done, now.Findings)
	assert.Equal(l.t, time.Duration(done)*time.Second, now.Used)
}

func (l *ledgerTest) grantAndDo() {
	l.Begin(id, 2)
	lease := l.grant(0, "hall")
	assert.Equal(l.t, "hall", lease.Worker)
	assert.NotZero(l.t, lease.Epoch)
	all, err := l.Leases(l.ctx, id, 1)
	require.NoError(l.t, err)
	require.Len(l.t, all, 1, "those that nobody ever had are not told")
	assert.Equal(l.t, lease.Epoch, all[0].Epoch)

	c, err := l.CommitUnit(l.ctx, id, report(0, lease))
	require.NoError(l.t, err)
	assert.False(l.t, c.Repeated)
	assert.Len(l.t, c.Changed, 1)
	l.counts(1)
	all, err = l.Leases(l.ctx, id, 1)
	require.NoError(l.t, err)
	assert.Empty(l.t, all, "gone once it is done")
}

func (l *ledgerTest) grantAnew() {
	l.Begin(id, 1)
	first, second := l.grant(0, "hall"), l.grant(0, "attic")
	assert.Greater(l.t, second.Epoch, first.Epoch)
	_, err := l.CommitUnit(l.ctx, id, report(0, first))
	require.ErrorIs(l.t, err, storage.ErrStale)
	_, err = l.FailUnit(l.ctx, id, 1, 0, "hall", first.Epoch, "a bug")
	require.ErrorIs(l.t, err, storage.ErrStale)
	_, err = l.LoseUnit(l.ctx, id, 1, 0, first.Epoch)
	require.ErrorIs(l.t, err, storage.ErrStale)
	require.ErrorIs(l.t, l.ReturnUnit(l.ctx, id, 1, 0, "hall", first.Epoch), storage.ErrStale)
	_, err = l.CommitUnit(l.ctx, id, report(0, storage.Lease{Worker: "attic", Epoch: second.Epoch + 1}))
	require.ErrorIs(l.t, err, storage.ErrStale, "nobody was granted that")
	l.counts(0)
	_, err = l.CommitUnit(l.ctx, id, report(0, second))
	require.NoError(l.t, err)
	l.counts(1)
}

// theirs has another worker say what only the one may that has the unit.
func (l *ledgerTest) theirs() {
	l.Begin(id, 1)
	lease := l.grant(0, "hall")
	thief := storage.Lease{Worker: "attic", Epoch: lease.Epoch}
	_, err := l.CommitUnit(l.ctx, id, report(0, thief))
	require.ErrorIs(l.t, err, storage.ErrStale)
	_, err = l.FailUnit(l.ctx, id, 1, 0, thief.Worker, thief.Epoch, "a bug")
	require.ErrorIs(l.t, err, storage.ErrStale)
	require.ErrorIs(l.t, l.ReturnUnit(l.ctx, id, 1, 0, thief.Worker, thief.Epoch), storage.ErrStale)
	all, err := l.Leases(l.ctx, id, 1)
	require.NoError(l.t, err)
	assert.Equal(l.t, lease, all[0], "nothing has changed")
	_, err = l.CommitUnit(l.ctx, id, report(0, lease))
	require.NoError(l.t, err)
	l.counts(1)
}

func (l *ledgerTest) giveBack() {
	l.Begin(id, 3)
	for index, end := range []func(epoch uint64) error{
		func(epoch uint64) error { return l.ReturnUnit(l.ctx, id, 1, 0, "hall", epoch) },
		func(epoch uint64) error { _, err := l.FailUnit(l.ctx, id, 1, 1, "hall", epoch, "a bug"); return err },
		func(epoch uint64) error { _, err := l.LoseUnit(l.ctx, id, 1, 2, epoch); return err },
	} {
		lease := l.grant(index, "hall")
		require.NoError(l.t, end(lease.Epoch))
		require.ErrorIs(l.t, end(lease.Epoch), storage.ErrStale, "it can be done once")
		all, err := l.Leases(l.ctx, id, 1)
		require.NoError(l.t, err)
		assert.Empty(l.t, all[index].Worker)
		assert.Equal(l.t, lease.Epoch, all[index].Epoch)
		_, err = l.CommitUnit(l.ctx, id, report(index, lease))
		require.NoError(l.t, err, "nobody else was granted it since")
	}
	l.counts(3)
}

func (l *ledgerTest) done() {
	l.Begin(id, 1)
	first, second := l.grant(0, "hall"), l.grant(0, "attic")
	_, err := l.CommitUnit(l.ctx, id, report(0, second))
	require.NoError(l.t, err)
	_, err = l.GrantUnit(l.ctx, id, 1, 0, "hall")
	require.ErrorIs(l.t, err, storage.ErrUnitDone)
	_, err = l.FailUnit(l.ctx, id, 1, 0, "attic", second.Epoch, "a bug")
	require.ErrorIs(l.t, err, storage.ErrStale)
	for _, lease := range []storage.Lease{first, second} {
		c, err := l.CommitUnit(l.ctx, id, report(0, lease))
		require.NoError(l.t, err)
		assert.True(l.t, c.Repeated)
		assert.Empty(l.t, c.Changed)
		other := report(0, lease)
		other.Found = nil
		_, err = l.CommitUnit(l.ctx, id, other)
		require.ErrorIs(l.t, err, storage.ErrUnitMismatch)
	}
	l.counts(1)
}

func (l *ledgerTest) failures() {
	l.Begin(id, 1)
	var last storage.Lease
	for i := range storage.MaxFailures {
		granted := l.grant(0, fmt.Sprint("w", i))
		require.Len(l.t, granted.Failed, i)
		var err error
		last, err = l.FailUnit(l.ctx, id, 1, 0, granted.Worker, granted.Epoch, fmt.Sprint("bug ", i))
		require.NoError(l.t, err)
		assert.Equal(l.t, i+1 == storage.MaxFailures, last.Aside)
	}
	assert.Equal(l.t, storage.Failure{Worker: "w0", Why: "bug 0"}, last.Failed[0])
	l.aside(last)
}

func (l *ledgerTest) failuresOfOne() {
	l.Begin(id, 1)
	var last storage.Lease
	for i := range storage.MaxLosses {
		granted := l.grant(0, "hall")
		var err error
		last, err = l.FailUnit(l.ctx, id, 1, 0, "hall", granted.Epoch, "a bug")
		require.NoError(l.t, err)
		assert.Equal(l.t, i+1 == storage.MaxLosses, last.Aside)
	}
	l.aside(last)
}

func (l *ledgerTest) losses() {
	l.Begin(id, 1)
	var last storage.Lease
	for i := range storage.MaxLosses {
		granted := l.grant(0, "hall")
		var err error
		last, err = l.LoseUnit(l.ctx, id, 1, 0, granted.Epoch)
		require.NoError(l.t, err)
		assert.Equal(l.t, i+1, last.Lost)
		assert.Equal(l.t, i+1 == storage.MaxLosses, last.Aside)
	}
	l.aside(last)
}

func (l *ledgerTest) aside(last storage.Lease) {
	_, err := l.GrantUnit(l.ctx, id, 1, 0, "hall")
	require.ErrorIs(l.t, err, storage.ErrUnitAside)
	l.Ledger = l.Reopen()
	_, err = l.GrantUnit(l.ctx, id, 1, 0, "hall")
	require.ErrorIs(l.t, err, storage.ErrUnitAside)
	_, err = l.CommitUnit(l.ctx, id, report(0, last))
	require.NoError(l.t, err, "should it be done after all")
}

func (l *ledgerTest) missing() {
	l.Begin(id, 2)
	for _, at := range [][2]int{{1, 2}, {1, -1}, {2, 0}, {0, 0}} {
		_, err := l.GrantUnit(l.ctx, id, at[0], at[1], "hall")
		require.ErrorIs(l.t, err, storage.ErrNotFound, at)
	}
	_, err := l.GrantUnit(l.ctx, "another", 1, 0, "hall")
	require.ErrorIs(l.t, err, storage.ErrNotFound)
	_, err = l.CommitUnit(l.ctx, "another", report(0, storage.Lease{Worker: "hall", Epoch: 1}))
	require.ErrorIs(l.t, err, storage.ErrNotFound)
	require.ErrorIs(l.t, l.ReturnUnit(l.ctx, "another", 1, 0, "hall", 1), storage.ErrNotFound)
	_, err = l.Leases(l.ctx, "another", 1)
	require.ErrorIs(l.t, err, storage.ErrNotFound)
	require.ErrorIs(l.t, l.ReturnUnit(l.ctx, id, 1, 0, "hall", 1), storage.ErrStale, "nobody has it")
}

func (l *ledgerTest) states() {
	l.Begin(id, 3)
	lease, other := l.grant(0, "hall"), l.grant(1, "hall")
	l.Move(id, storage.Paused)
	_, err := l.GrantUnit(l.ctx, id, 1, 2, "hall")
	require.ErrorIs(l.t, err, storage.ErrState)
	_, err = l.CommitUnit(l.ctx, id, report(0, lease))
	require.NoError(l.t, err, "it is finished work")
	require.NoError(l.t, l.ReturnUnit(l.ctx, id, 1, 1, "hall", other.Epoch))
	l.Move(id, storage.Cancelled)
	_, err = l.GrantUnit(l.ctx, id, 1, 2, "hall")
	require.ErrorIs(l.t, err, storage.ErrState)
	_, err = l.CommitUnit(l.ctx, id, report(1, other))
	require.ErrorIs(l.t, err, storage.ErrState)
	l.counts(1)
}

func (l *ledgerTest) again() {
	l.Begin(id, 1)
	old := l.grant(0, "hall")
	l.End(id)
	l.Begin(id, 1)
	_, err := l.CommitUnit(l.ctx, id, report(0, old))
	require.ErrorIs(l.t, err, storage.ErrStale)
	now := l.grant(0, "attic")
	assert.NotEqual(l.t, old.Epoch, now.Epoch)
	_, err = l.CommitUnit(l.ctx, id, report(0, old))
	require.ErrorIs(l.t, err, storage.ErrStale)
	_, err = l.FailUnit(l.ctx, id, 1, 0, "hall", old.Epoch, "a bug")
	require.ErrorIs(l.t, err, storage.ErrStale)
	l.counts(0)
}

func (l *ledgerTest) crash() {
	l.Begin(id, 3)
	done, held, failed := l.grant(0, "hall"), l.grant(1, "hall"), l.grant(2, "hall")
	_, err := l.CommitUnit(l.ctx, id, report(0, done))
	require.NoError(l.t, err)
	_, err = l.FailUnit(l.ctx, id, 1, 2, "hall", failed.Epoch, "a bug")
	require.NoError(l.t, err)
	before, err := l.Leases(l.ctx, id, 1)
	require.NoError(l.t, err)
	l.Ledger = l.Reopen()
	after, err := l.Leases(l.ctx, id, 1)
	require.NoError(l.t, err)
	assert.Equal(l.t, before, after)
	l.counts(1)
	assert.Greater(l.t, l.grant(2, "attic").Epoch, failed.Epoch)
	_, err = l.CommitUnit(l.ctx, id, report(1, held))
	require.NoError(l.t, err)
	c, err := l.CommitUnit(l.ctx, id, report(0, done))
	require.NoError(l.t, err)
	assert.True(l.t, c.Repeated)
	l.counts(2)
}

// many has workers get one unit at once, and all report it: one of them has it.
func (l *ledgerTest) many() {
	const workers, rounds = 8, 3
	l.Begin(id, rounds)
	for index := range rounds {
		leases := make([]storage.Lease, workers)
		errs := make([]error, workers)
		var all sync.WaitGroup
		for w := range workers {
			all.Go(func() {
				leases[w], errs[w] = l.GrantUnit(l.ctx, id, 1, index, fmt.Sprint("w", w))
			})
		}
		all.Wait()
		most := uint64(0)
		seen := map[uint64]bool{}
		for w := range workers {
			require.NoError(l.t, errs[w])
			require.False(l.t, seen[leases[w].Epoch], "an epoch was given twice")
			seen[leases[w].Epoch] = true
			most = max(most, leases[w].Epoch)
		}
		stored := make([]storage.Committed, workers)
		for w := range workers {
			all.Go(func() { stored[w], errs[w] = l.CommitUnit(l.ctx, id, report(index, leases[w])) })
		}
		all.Wait()
		for w := range workers {
			switch {
			case leases[w].Epoch == most:
				require.NoError(l.t, errs[w])
				require.False(l.t, stored[w].Repeated)
			case errs[w] == nil:
				require.True(l.t, stored[w].Repeated)
			default:
				require.ErrorIs(l.t, errs[w], storage.ErrStale)
			}
		}
		l.counts(index + 1)
	}
}
