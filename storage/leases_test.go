package storage_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/storage"
)

// A worker that is still at a unit of a search that was deleted says nothing about
// another of the same id, be its units ever so alike.
func TestAReportForADeletedSearchIsNoneForTheNextOfItsID(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	running(t, s, "night", 2)
	old, err := s.GrantUnit(ctx, "night", 1, 0, "hall")
	require.NoError(t, err)
	_, err = s.Move(ctx, storage.Request{}, "night", storage.Cancelled, storage.Detail{})
	require.NoError(t, err)
	require.NoError(t, s.DeleteSearch(ctx, storage.Request{}, "night"))
	running(t, s, "night", 2)
	report := storage.Unit{Length: 1, Index: 0, Leaves: 10, Epoch: old.Epoch, Worker: "hall"}

	_, err = s.CommitUnit(ctx, "night", report)
	require.ErrorIs(t, err, storage.ErrStale, "nobody has it")
	now, err := s.GrantUnit(ctx, "night", 1, 0, "attic")
	require.NoError(t, err)
	_, err = s.CommitUnit(ctx, "night", report)
	require.ErrorIs(t, err, storage.ErrStale, "another has it")
	_, err = s.FailUnit(ctx, "night", 1, 0, "hall", old.Epoch, "a bug")
	require.ErrorIs(t, err, storage.ErrStale)
	require.ErrorIs(t, s.ReturnUnit(ctx, "night", 1, 0, "hall", old.Epoch), storage.ErrStale)

	_, err = s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Index: 0, Leaves: 10, Epoch: now.Epoch, Worker: "attic"})
	require.NoError(t, err)
	report.Leaves = 11
	_, err = s.CommitUnit(ctx, "night", report)
	require.ErrorIs(t, err, storage.ErrStale, "it is done, and the report is no other's")
}

// A failure's story is cut where it is too long, and stays text.
func TestALongStoryOfAFailureIsCut(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	running(t, s, "night", 1)
	l, err := s.GrantUnit(ctx, "night", 1, 0, "hall")
	require.NoError(t, err)
	_, err = s.FailUnit(ctx, "night", 1, 0, "hall", l.Epoch, "x"+strings.Repeat("é", 5000))
	require.NoError(t, err)
	leases, err := s.Leases(ctx, "night", 1)
	require.NoError(t, err)
	why := leases[0].Failed[0].Why
	assert.Equal(t, "x"+strings.Repeat("é", 999), why)
}

// A length that was proven by an equal search has no units here, and takes none from a
// worker that was at one before.
func TestALengthThatWasAdoptedTakesNoUnits(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	running(t, s, "night", 2)
	l, err := s.GrantUnit(ctx, "night", 1, 0, "hall")
	require.NoError(t, err)
	running(t, s, "other", 2)
	for index := range 2 {
		_, err := s.CommitUnit(ctx, "other", storage.Unit{Length: 1, Index: index, Leaves: 10})
		require.NoError(t, err)
	}
	_, err = s.Adopt(ctx, "night", "other")
	require.NoError(t, err)
	c, err := s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Index: 0, Leaves: 10, Epoch: l.Epoch, Worker: "hall"})
	require.NoError(t, err)
	assert.True(t, c.Repeated)
	assert.Equal(t, 2, c.Search.Lengths[0].Done)
	assert.True(t, c.Search.Lengths[0].Complete())
	_, err = s.GrantUnit(ctx, "night", 1, 1, "hall")
	require.ErrorIs(t, err, storage.ErrUnitDone)
}
