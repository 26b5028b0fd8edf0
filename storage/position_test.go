package storage_test

import (
	"context"
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/storage"
)

func solution(text string, length int) storage.Finding {
	return storage.Finding{ID: "best", Size: 1, Text: text, Length: length, Axes: 1}
}

// Where nothing is predicted, a length is proven once its units are in.
func TestAnOpenLengthIsProvenWhateverItsUnitsCovered(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	running(t, s, "night")
	_, err := s.BeginLength(ctx, "night", storage.LengthPlan{Length: 1, Words: "18", Units: 2, Open: true})
	require.NoError(t, err)
	c, err := s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Index: 1, Leaves: 7})
	require.NoError(t, err)
	assert.Zero(t, c.Search.Proven)
	c, err = s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Index: 0, Leaves: 70})
	require.NoError(t, err)
	assert.Equal(t, 1, c.Search.Proven)
	assert.EqualValues(t, 77, c.Search.Lengths[0].Covered)
}

// Where only some sequences are tried nothing is proven, and what goes on goes on.
func TestALengthThatProvesNothing(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	running(t, s, "night")
	plan := storage.LengthPlan{Length: 1, Words: "0", Leaves: 30, Units: 2, Unproven: true}
	_, err := s.BeginLength(ctx, "night", plan)
	require.NoError(t, err)
	made := func(structure string) []storage.Finding {
		f := solution("a b a' b'", 4)
		f.Structure = structure
		return []storage.Finding{f}
	}
	c, err := s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Index: 1, Leaves: 10, Found: made("[a b, a']")})
	require.NoError(t, err)
	assert.Len(t, c.Changed, 1)
	c, err = s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Index: 0, Leaves: 20, Found: made("[a, b]")})
	require.NoError(t, err)
	assert.Len(t, c.Changed, 1, "the shorter way to make it")
	assert.Zero(t, c.Search.Proven)
	assert.True(t, c.Search.Lengths[0].Complete())
	assert.Equal(t, 1, c.Search.Findings)
	_, err = s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Index: 0, Leaves: 20, Found: made("[b, a]")})
	require.ErrorIs(t, err, storage.ErrUnitMismatch)
	again, err := s.BeginLength(ctx, "night", plan)
	require.NoError(t, err)
	assert.Zero(t, again.Proven)
}

// A unit that ended early, as it had found enough, covered less than its words.
func TestALengthWithAUnitThatEndedEarlyIsNotProven(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	running(t, s, "night")
	_, err := s.BeginLength(ctx, "night", storage.LengthPlan{Length: 1, Words: "18", Units: 1, Open: true})
	require.NoError(t, err)
	c, err := s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Leaves: 7, Short: true, Found: []storage.Finding{solution("R", 1)}})
	require.NoError(t, err)
	assert.Zero(t, c.Search.Proven)
	assert.Equal(t, 1, c.Search.Findings)
}

// What needs no search comes with the end, in one step.
func TestFindingsComeWithTheEnd(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	running(t, s, "home")
	done, err := s.Move(ctx, storage.Request{}, "home", storage.Done, storage.Detail{Found: []storage.Finding{solution("", 0)}})
	require.NoError(t, err)
	assert.Equal(t, 1, done.Findings)
	found, err := s.Findings(ctx, "home", storage.FindingScan{Until: storage.AnyEvent, Limit: 10})
	require.NoError(t, err)
	require.Len(t, found, 1)
	assert.Empty(t, found[0].Text)
	assert.EqualValues(t, 1, found[0].Event)
	events, err := s.Events(ctx, "home", 0, 10)
	require.NoError(t, err)
	assert.Equal(t, found, events)
}

func TestPausingAndResumingCanBeRepeated(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	running(t, s, "night", 1)
	move := func(to storage.State) (storage.State, error) {
		got, err := s.Move(ctx, storage.Request{}, "night", to, storage.Detail{})
		return got.State, err
	}
	for _, c := range []struct{ to, want storage.State }{
		{storage.Queued, storage.Running}, // it works already
		{storage.Paused, storage.Paused}, {storage.Paused, storage.Paused},
		{storage.Queued, storage.Queued}, {storage.Queued, storage.Queued},
		{storage.Preparing, storage.Preparing}, {storage.Queued, storage.Preparing},
		{storage.Cancelled, storage.Cancelled},
	} {
		got, err := move(c.to)
		require.NoError(t, err)
		assert.Equal(t, c.want, got)
	}
	for _, to := range []storage.State{storage.Paused, storage.Queued} {
		_, err := move(to)
		assert.ErrorIs(t, err, storage.ErrState)
	}
}

// Records of before there were positions are those of searches for cycles.
func TestRecordsWithoutPositionsStillRead(t *testing.T) {
	var old storage.Submission
	require.NoError(t, json.Unmarshal([]byte(`{"number":3,"id":"night","spec":{"puzzle":"cube-3","definition":"name: x",
		"cycle":"edge","ignore":["corner"],"metric":"obtm","max":7,"memory":1,"classes":2,"cycles":3}}`), &old))
	assert.Nil(t, old.Spec.Position)
	assert.Equal(t, "edge", old.Spec.Cycle)
	var progress storage.Progress
	require.NoError(t, json.Unmarshal([]byte(`{"state":"RUNNING","proven":1,"lengths":[
		{"length":1,"words":"18","leaves":18,"units":1,"done":1,"covered":18,"classes":0,"cycles":0}]}`), &progress))
	assert.True(t, progress.Lengths[0].Complete())
	progress.Lengths[0].Covered--
	assert.False(t, progress.Lengths[0].Complete(), "what was predicted must be covered")
	again, err := json.Marshal(progress.Lengths[0])
	require.NoError(t, err)
	assert.NotContains(t, string(again), "open", "nor do new fields show where they say nothing")
}
