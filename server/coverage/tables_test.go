package coverage

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/coverage"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/server/engine"
	"turnwright/storage"
)

// shelf is a store of one search, which counts how often its findings are read.
type shelf struct {
	mu       sync.Mutex
	search   storage.Search
	findings []storage.Finding
	reads    int
	gone     bool // the search is listed still, but its findings are not there any more
}

func (s *shelf) Searches(_ context.Context, before uint64, _ int) ([]storage.Search, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if before != 0 {
		return nil, nil
	}
	return []storage.Search{s.search}, nil
}

func (s *shelf) Findings(_ context.Context, _ string, q storage.FindingScan) ([]storage.Finding, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.reads++
	if s.gone {
		return nil, fmt.Errorf("search: %w", storage.ErrNotFound)
	}
	var out []storage.Finding
	for _, f := range s.findings {
		if slices.Compare(f.Rank(), q.After) > 0 && len(out) < q.Limit {
			out = append(out, f)
		}
	}
	return out, nil
}

// heart cycles three corners of the 3x3x3: common practice.
const heart = "R' D' R U' R' D R U"

func corners(t *testing.T, m puzzle.Metric) Ask {
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	g, err := goal.New(p, "corner", nil, nil)
	require.NoError(t, err)
	return Ask{Puzzle: p, Goal: g, Metric: m, Keep: 1}
}

func finding(t *testing.T, ask Ask, text string) storage.Finding {
	turns, err := notation.ParseTurns(ask.Puzzle, text)
	require.NoError(t, err)
	change, err := goal.Check(ask.Puzzle, ask.Goal, turns)
	require.NoError(t, err)
	return storage.Finding{ID: "c1", Class: 1, Text: text, Length: notation.Length(ask.Puzzle, ask.Metric, turns), Change: change.String()}
}

func filled(t *testing.T, ask Ask) *shelf {
	spec := storage.Spec{Puzzle: "cube-3", Definition: ask.Puzzle.Def.YAML(), Cycle: "corner", Metric: ask.Metric.String()}
	return &shelf{
		search:   storage.Search{Submission: storage.Submission{Number: 1, ID: "one", Spec: spec}, Progress: storage.Progress{Events: 1, Proven: 8}},
		findings: []storage.Finding{finding(t, ask, heart)},
	}
}

func TestATableIsMadeOnceForWhatItRestsOn(t *testing.T) {
	ctx := t.Context()
	ask := corners(t, puzzle.OBTM)
	store := filled(t, ask)
	tables := NewTables(store)
	var calls sync.WaitGroup
	var got [4]*Known
	for i := range got {
		calls.Go(func() { got[i], _ = tables.Get(ctx, ask) })
	}
	calls.Wait()
	require.NotNil(t, got[0])
	for _, k := range got {
		assert.Same(t, got[0], k)
	}
	assert.Equal(t, 1, store.reads)
	assert.Equal(t, 1, got[0].Sequences)

	store.findings = append(store.findings, finding(t, ask, "[R' D' R, U2]"))
	store.findings[1].ID = "c2"
	store.search.Events = 2
	next, err := tables.Get(ctx, ask)
	require.NoError(t, err)
	assert.Equal(t, 2, next.Sequences)
	assert.NotSame(t, got[0], next)
	assert.Same(t, got[0].Table.Bench, next.Table.Bench, "the bench rests on the goal alone")

	store.search.Proven = 9
	proven, err := tables.Get(ctx, ask)
	require.NoError(t, err)
	assert.Equal(t, 9, proven.Table.Proven())
	assert.Len(t, tables.kept, 1, "what it takes the place of is let go")
}

func TestNoMoreTablesAreKeptThanAllowed(t *testing.T) {
	ctx := t.Context()
	ask := corners(t, puzzle.OBTM)
	tables := NewTables(filled(t, ask))
	ask.Keep = maxKept + 2
	first, err := tables.Get(ctx, ask)
	require.NoError(t, err)
	for keep := range maxKept {
		ask.Keep = keep + 1
		_, err := tables.Get(ctx, ask)
		require.NoError(t, err)
	}
	assert.Len(t, tables.kept, maxKept)
	assert.NotContains(t, tables.kept, first, "it was not used for longest")
	ask.Keep = 1
	k, err := tables.Get(ctx, ask)
	require.NoError(t, err)
	assert.Same(t, k, tables.kept[0])
}

func TestWhatADeletedSearchProvedIsNotClaimed(t *testing.T) {
	ask := corners(t, puzzle.OBTM)
	store := filled(t, ask)
	store.gone = true
	k, err := NewTables(store).Get(t.Context(), ask)
	require.NoError(t, err)
	assert.Zero(t, k.Table.Proven())
	assert.Zero(t, k.Searches)
	assert.Equal(t, coverage.Missing, k.Rows[0].How)
}

// Nothing visible marks the core of the vertex-cut dodecahedron: what was proven of sequences that
// keep it says nothing of the others. A proof of all says something of those too.
func TestWhoseProofsCountWhereNothingMarksTheCore(t *testing.T) {
	p, err := puzzle.Find("vertex-cut-dodecahedron")
	require.NoError(t, err)
	g, err := goal.New(p, "triangle", nil, nil)
	require.NoError(t, err)
	for _, c := range []struct {
		asked  v1.Core
		search string
		proven int
	}{
		{v1.Core_CORE_KEPT, engine.CoreKept, 6},
		{v1.Core_CORE_KEPT, engine.CoreFree, 6},
		{v1.Core_CORE_UNSPECIFIED, engine.CoreKept, 6}, // nothing is ignored
		{v1.Core_CORE_FREE, engine.CoreFree, 6},
		{v1.Core_CORE_FREE, engine.CoreKept, 0},
	} {
		ask := NewAsk(p, g, puzzle.STM, c.asked, 1)
		store := &shelf{search: storage.Search{
			Submission: storage.Submission{Number: 1, ID: "one", Spec: storage.Spec{Definition: p.Def.YAML(), Cycle: "triangle", Metric: "stm", Core: c.search}},
			Progress:   storage.Progress{Proven: 6},
		}}
		k, err := NewTables(store).Get(t.Context(), ask)
		require.NoError(t, err)
		assert.Equal(t, c.proven, k.Table.Proven(), "%v", c)
		assert.Equal(t, 1, k.Searches)
	}
	assert.Empty(t, corners(t, puzzle.STM).Core)
}

func TestAFindingThatIsNotSoIsAFault(t *testing.T) {
	ask := corners(t, puzzle.OBTM)
	store := filled(t, ask)
	store.findings[0].Text = "R U R' U'"
	_, err := NewTables(store).Get(t.Context(), ask)
	assert.ErrorIs(t, err, goal.ErrNotMet)
	assert.ErrorContains(t, err, "finding c1 of search one")
}

func TestWaitingForATableEndsWithTheCall(t *testing.T) {
	ask := corners(t, puzzle.OBTM)
	tables := NewTables(filled(t, ask))
	tables.turn <- struct{}{} // another call is making one
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := tables.Get(ctx, ask)
	assert.ErrorIs(t, err, context.Canceled)
}

func TestWhichSearchesCount(t *testing.T) {
	ask := corners(t, puzzle.OBTM)
	for what, c := range map[string]struct {
		change func(*storage.Spec)
		counts bool
	}{
		"the same":                    {func(*storage.Spec) {}, true},
		"said in other words":         {func(s *storage.Spec) { s.Shape, s.Protect = "3", []string{"edge", "centre"} }, true},
		"a greater length":            {func(s *storage.Spec) { s.Max, s.Each, s.Memory = 40, 3, 1 }, true},
		"a puzzle of the same name":   {func(s *storage.Spec) { s.Definition += "\n" }, false},
		"another type":                {func(s *storage.Spec) { s.Cycle = "edge" }, false},
		"no type, as for a position":  {func(s *storage.Spec) { s.Cycle = "" }, false},
		"another shape":               {func(s *storage.Spec) { s.Shape = "5" }, false},
		"something ignored":           {func(s *storage.Spec) { s.Ignore = []string{"edge"} }, false},
		"a pin":                       {func(s *storage.Spec) { s.Pins = []storage.Pin{{From: "URF", To: "UBR"}} }, false},
		"chosen axes":                 {func(s *storage.Spec) { s.Axes = []string{"U", "R"} }, false},
		"another metric":              {func(s *storage.Spec) { s.Metric = "stm" }, false},
		"a position":                  {func(s *storage.Spec) { s.Position = &storage.Position{} }, false},
		"what can't be read any more": {func(s *storage.Spec) { s.Shape = "x" }, false},
	} {
		store := filled(t, ask)
		c.change(&store.search.Spec)
		found, err := NewTables(store).searches(t.Context(), ask)
		require.NoError(t, err)
		assert.Equal(t, c.counts, len(found) == 1, what)
	}
}
