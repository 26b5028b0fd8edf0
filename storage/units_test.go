package storage_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/storage"
)

func TestALengthIsProvenByItsLastUnit(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	running(t, s, "night", 2, 0, 1)
	proven := func(length, index int, leaves uint64) int {
		c, err := s.CommitUnit(ctx, "night", storage.Unit{Length: length, Index: index, Leaves: leaves})
		require.NoError(t, err)
		return c.Search.Proven
	}
	assert.Equal(t, 0, proven(3, 0, 10), "lengths before it are open")
	assert.Equal(t, 0, proven(1, 0, 10))
	assert.Equal(t, 3, proven(1, 1, 10), "length 2 has no units, length 3 was complete")
}

func TestALengthThatCoveredTooLittleIsNotProven(t *testing.T) {
	s := fresh(t)
	running(t, s, "night", 1)
	c, err := s.CommitUnit(context.Background(), "night", storage.Unit{Length: 1, Index: 0, Leaves: 9})
	require.NoError(t, err)
	assert.Equal(t, 0, c.Search.Proven)
}

func TestAUnitCountsOnce(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	running(t, s, "night", 2)
	unit := storage.Unit{Length: 1, Index: 0, Leaves: 10, Found: []storage.Finding{
		{ID: "c1", Class: 1, Size: 6, Text: "a b", Length: 1, Axes: 2},
		{ID: "c2", Class: 2, Size: 3, Text: "a c", Length: 1, Axes: 2},
	}}
	first, err := s.CommitUnit(ctx, "night", unit)
	require.NoError(t, err)
	assert.Len(t, first.Changed, 2)

	unit.Found[0], unit.Found[1] = unit.Found[1], unit.Found[0]
	again, err := s.CommitUnit(ctx, "night", unit)
	require.NoError(t, err)
	assert.Equal(t, storage.Committed{Repeated: true, Search: first.Search}, again)

	fewer := unit
	fewer.Found = unit.Found[:1]
	_, err = s.CommitUnit(ctx, "night", fewer)
	assert.ErrorIs(t, err, storage.ErrUnitMismatch)
	short := unit
	short.Leaves--
	_, err = s.CommitUnit(ctx, "night", short)
	assert.ErrorIs(t, err, storage.ErrUnitMismatch)

	now, err := s.Search(ctx, "night")
	require.NoError(t, err)
	assert.Equal(t, first.Search, now)
}

func TestFindingsThatComeAheadOfTheirLengthCount(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	running(t, s, "night", 1)
	_, err := s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Leaves: 10, Found: []storage.Finding{
		{ID: "c1", Class: 1, Size: 6, Text: "a b", Length: 2, Axes: 2},
		{ID: "c2", Class: 2, Size: 3, Text: "a c", Length: 3, Axes: 2},
	}})
	require.NoError(t, err)
	begun, err := s.BeginLength(ctx, "night", storage.LengthPlan{Length: 2, Words: "20", Leaves: 10, Units: 1})
	require.NoError(t, err)
	assert.Equal(t, 1, begun.Lengths[1].Classes)
	assert.EqualValues(t, 6, begun.Lengths[1].Cycles)
}

func TestUnitsThatAreNotInThePlanAreRefused(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	running(t, s, "night", 2)
	for _, u := range []storage.Unit{
		{Length: 0}, {Length: 2}, {Length: 1, Index: 2}, {Length: 1, Index: -1},
		{Length: 1, Found: []storage.Finding{{ID: "c1", Text: strings.Repeat("a", storage.MaxText+1)}}},
		{Length: 1, Found: []storage.Finding{{ID: "", Text: "a"}}},
		{Length: 1, Found: []storage.Finding{{ID: "c1", Axes: 256}}},
	} {
		_, err := s.CommitUnit(ctx, "night", u)
		assert.Error(t, err, "%+v", u)
	}
}

func TestAReportAfterTheEndIsRefused(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	running(t, s, "night", 1)
	_, err := s.Move(ctx, storage.Request{}, "night", storage.Cancelled, storage.Detail{})
	require.NoError(t, err)
	_, err = s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Index: 0, Leaves: 10})
	var state *storage.StateError
	require.ErrorAs(t, err, &state)
	assert.Equal(t, storage.Cancelled, state.Is)
	assert.ErrorIs(t, err, storage.ErrState)
}

func TestAReportForAPausedSearchIsKept(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	running(t, s, "night", 1)
	_, err := s.Move(ctx, storage.Request{}, "night", storage.Paused, storage.Detail{})
	require.NoError(t, err)
	c, err := s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Index: 0, Leaves: 10})
	require.NoError(t, err)
	assert.Equal(t, 1, c.Search.Proven)
}

func TestALengthBegunWithAnotherPlanIsRefused(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	running(t, s, "night", 2)
	same := storage.LengthPlan{Length: 1, Words: "1000", Leaves: 20, Units: 2}
	_, err := s.BeginLength(ctx, "night", same)
	assert.NoError(t, err)
	other := same
	other.Units = 3
	_, err = s.BeginLength(ctx, "night", other)
	assert.ErrorIs(t, err, storage.ErrPlanChanged)
	_, err = s.BeginLength(ctx, "night", storage.LengthPlan{Length: 3})
	assert.Error(t, err, "length 2 was not begun")
}

// A report with more findings than one transaction holds.
func TestAHugeReportIsStoredWhole(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	running(t, s, "night", 1)
	unit := storage.Unit{Length: 1, Index: 0, Leaves: 10}
	for i := range 3000 {
		unit.Found = append(unit.Found, storage.Finding{
			ID: fmt.Sprint("c", i), Class: i, Size: 2, Length: 1,
			Text: strings.Repeat("x", 900) + fmt.Sprint(i),
		})
	}
	c, err := s.CommitUnit(ctx, "night", unit)
	require.NoError(t, err)
	assert.Len(t, c.Changed, 3000)
	assert.Equal(t, 1, c.Search.Proven)
	assert.Equal(t, int64(6000), c.Search.Lengths[0].Cycles)
	again, err := s.CommitUnit(ctx, "night", unit)
	require.NoError(t, err)
	assert.True(t, again.Repeated)
}

// Where several sequences are wanted for each class, each place holds the next
// best, whatever the order in which they come, and only the first counts.
func TestPlacesHoldTheBestOfAClass(t *testing.T) {
	ctx := context.Background()
	texts := []string{"a b", "a c", "a d", "a e", "a f"} // in rank order
	for seed := range 20 {
		s := fresh(t)
		_, err := s.CreateSearch(ctx, storage.Request{}, "night", storage.Spec{Each: 3, Slack: 1})
		require.NoError(t, err)
		for _, state := range []storage.State{storage.Preparing, storage.Running} {
			_, err = s.Move(ctx, storage.Request{}, "night", state, storage.Detail{})
			require.NoError(t, err)
		}
		_, err = s.BeginLength(ctx, "night", storage.LengthPlan{Length: 1, Words: "1", Leaves: 0, Units: len(texts) + 1})
		require.NoError(t, err)
		last := uint64(0)
		for i := range texts {
			f := storage.Finding{ID: "c1", Class: 1, Size: 6, Length: 1, Axes: 2, Text: texts[(i*(1+seed%4)+seed)%len(texts)]}
			c, err := s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Index: i, Found: []storage.Finding{f, f}})
			require.NoError(t, err)
			assert.Equal(t, 1, c.Search.Lengths[0].Classes)
			assert.EqualValues(t, 6, c.Search.Lengths[0].Cycles)
			for _, changed := range c.Changed {
				assert.Greater(t, changed.Event, last)
				last = changed.Event
			}
		}
		far := storage.Finding{ID: "c1", Class: 1, Size: 6, Length: 3, Axes: 1, Text: "a"}
		c, err := s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Index: len(texts), Found: []storage.Finding{far}})
		require.NoError(t, err)
		assert.Empty(t, c.Changed, "longer than the slack allows")
		page, err := s.Findings(ctx, "night", storage.FindingScan{Until: storage.AnyEvent, Limit: 10})
		require.NoError(t, err)
		var got []string
		for i, f := range page {
			got = append(got, f.Text)
			assert.Equal(t, i+1, f.Place)
		}
		assert.Equal(t, texts[:3], got, "seed %d", seed)
		events, err := s.Events(ctx, "night", 0, 100)
		require.NoError(t, err)
		assert.Len(t, events, 3, "one event for each place")
	}
}
