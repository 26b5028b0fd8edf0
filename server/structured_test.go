package server_test

import (
	"io"
	"maps"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/catalog"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// structured asks for commutators of parts up to these lengths.
func structured(s *v1.Search, x, y, z, setup int32) *v1.Search {
	s.Structure = &v1.Structure{FirstLength: x, SecondLength: y, ThirdLength: z, SetupLength: setup}
	return s
}

// corners asks for pure 3-cycles of corners of the 3x3x3.
func corners(max int32) *v1.Search {
	return &v1.Search{Goal: &v1.Goal{Puzzle: "puzzles/3x3x3", Cycle: "corner"}, Metric: v1.Metric_METRIC_OBTM, MaxLength: max}
}

// checkStructured carries out what a structured search found, sequence and reading, on all
// stickers.
func checkStructured(t *testing.T, s *v1.Search, m puzzle.Metric, found []*v1.Finding) {
	t.Helper()
	p := find(t, s.GetGoal().GetPuzzle()[len("puzzles/"):])
	shape, err := goal.ParseShape(s.GetGoal().GetShape())
	require.NoError(t, err)
	g, err := goal.NewShape(p, s.GetGoal().GetCycle(), shape, nil, s.GetGoal().GetIgnore())
	require.NoError(t, err)
	require.NoError(t, g.Turn(p, s.GetGoal().GetAxes()...))
	typ := &p.Types[g.Cycle]
	for i, f := range found {
		steps := turns(t, p, f.GetSequence())
		assert.EqualValues(t, f.GetLength(), notation.Length(p, m, steps))
		change, err := goal.Check(p, g, steps)
		require.NoError(t, err, f.GetSequence())
		if f.GetClassesTotal() > 0 {
			classes, err := catalog.Enumerate(p, g)
			require.NoError(t, err)
			assert.EqualValues(t, f.GetClass(), classes.ClassOf(goal.Cycle(change.Cycles(typ)[0])))
		}
		e := f.GetExplanation()
		assert.False(t, e.GetPlain())
		assert.Contains(t, e.GetWords(), "commutator")
		assert.Equal(t, f.GetLength(), e.GetLength())
		seq, err := notation.Parse(p, e.GetText())
		require.NoError(t, err)
		expanded, err := seq.Expand()
		require.NoError(t, err)
		assert.True(t, solved(p, append(expanded, invertFrom(t, p, expanded, steps)...)), "%s is not %s", e.GetText(), f.GetSequence())
		if i > 0 {
			assert.LessOrEqual(t, found[i-1].GetLength(), f.GetLength())
		}
	}
}

// invertFrom undoes turns as the axes lie after others that do the same but for a
// rotation of the whole.
func invertFrom(t *testing.T, p *puzzle.Puzzle, done, same []puzzle.Turn) []puzzle.Turn {
	t.Helper()
	for _, s := range p.Symmetries[:p.Rotations] {
		var back []puzzle.Turn
		for _, turn := range puzzle.Invert(same) {
			back = append(back, p.Tidy(s.Image(turn)))
		}
		if solved(p, append(append([]puzzle.Turn{}, done...), back...)) {
			return back
		}
	}
	return nil
}

func TestAStructuredSearchIsDoneAndItsFindingsAreTrue(t *testing.T) {
	r := start(t, t.TempDir())
	asked := structured(corners(0), 3, 1, 0, 1)
	reply, err := r.searches.CreateSearch(t.Context(), &v1.CreateSearchRequest{Search: asked, ValidateOnly: true})
	require.NoError(t, err)
	assert.EqualValues(t, 10, reply.GetSearch().GetMaxLength(), "of 3-1 with one turn before and after")
	assert.Positive(t, reply.GetEstimate().GetPairs())
	assert.EqualValues(t, 1, reply.GetEstimate().GetUnits())
	assert.Empty(t, reply.GetEstimate().GetLengths())

	name := r.create(t, "commutators", asked)
	done := r.finish(t, name)
	require.Equal(t, v1.SearchState_SEARCH_STATE_DONE, done.GetState())
	assert.Zero(t, done.GetProvenLength())
	assert.Empty(t, done.GetLengths())
	assert.Nil(t, done.GetTables())
	assert.Equal(t, reply.GetEstimate().GetPairs(), done.GetPairs())
	assert.Equal(t, done.GetPairsTotal(), done.GetPairs())
	assert.EqualValues(t, 3, done.GetStructure().GetFirstLength())
	found := r.found(t, name)
	require.NotEmpty(t, found)
	assert.EqualValues(t, len(found), done.GetFindingsTotal())
	checkStructured(t, asked, puzzle.OBTM, found)

	// A full search to 8 proves them: none is shorter, and commutators of 8 turns are
	// all that there is.
	full := r.create(t, "all", corners(8))
	proven := r.finish(t, full)
	assert.Equal(t, proven.GetClassesTotal(), done.GetClassesTotal())
	assert.Equal(t, proven.GetCyclesTotal(), done.GetCyclesTotal())
	shortest := map[int32]int32{}
	for _, f := range r.found(t, full) {
		shortest[f.GetClass()] = f.GetLength()
	}
	reached := map[int32]int32{}
	for _, f := range found {
		reached[f.GetClass()] = f.GetLength()
		if n, ok := shortest[f.GetClass()]; ok {
			assert.Equal(t, n, f.GetLength())
		} else {
			assert.Greater(t, f.GetLength(), int32(8))
		}
	}
	for class := range shortest {
		assert.Contains(t, reached, class)
	}

	// With a greatest length only what is longer is missing.
	short := r.create(t, "short", structured(corners(8), 3, 1, 0, 1))
	require.Equal(t, v1.SearchState_SEARCH_STATE_DONE, r.finish(t, short).GetState())
	got := map[int32]int32{}
	for _, f := range r.found(t, short) {
		got[f.GetClass()] = f.GetLength()
	}
	maps.DeleteFunc(reached, func(_, length int32) bool { return length > 8 })
	assert.Equal(t, reached, got)
}

// Nested, about few axes, and of another shape: what is found is true.
func TestStructuredSearchesOfAllKinds(t *testing.T) {
	r := start(t, t.TempDir())
	for id, s := range map[string]*v1.Search{
		"nested": structured(edges(0), 1, 1, 1, 1),
		"axes": structured(&v1.Search{Goal: &v1.Goal{Puzzle: "puzzles/3x3x3", Cycle: "edge", Ignore: []string{"corner"}, Axes: []string{"U", "R"}},
			Metric: v1.Metric_METRIC_OBTM}, 2, 1, 0, 1),
		"swaps": structured(&v1.Search{Goal: &v1.Goal{Puzzle: "puzzles/3x3x3", Cycle: "corner", Ignore: []string{"edge"}, Shape: "2+2"},
			Metric: v1.Metric_METRIC_OBTM}, 2, 1, 0, 1),
	} {
		done := r.finish(t, r.create(t, id, s))
		require.Equal(t, v1.SearchState_SEARCH_STATE_DONE, done.GetState(), id)
		found := r.found(t, "searches/"+id)
		require.NotEmpty(t, found, id)
		checkStructured(t, s, puzzle.OBTM, found)
		if id == "axes" {
			assert.Zero(t, done.GetProvenLength())
			for _, f := range found {
				assert.NotContains(t, f.GetSequence(), "F")
			}
		}
	}
}

func TestStructuresThatAreRefused(t *testing.T) {
	r := start(t, t.TempDir())
	with := func(change func(s *v1.Search)) *v1.Search {
		s := structured(corners(0), 3, 1, 0, 1)
		change(s)
		return s
	}
	for field, s := range map[string]*v1.Search{
		"search.goal.pins":               with(func(s *v1.Search) { s.Goal.Pins = []*v1.Pin{{From: "URF", To: "UFL"}} }),
		"search.goal.core":               with(func(s *v1.Search) { s.Goal.Core = v1.Core_CORE_KEPT }),
		"search.sequences_per_class":     with(func(s *v1.Search) { s.SequencesPerClass = 2 }),
		"search.slack":                   with(func(s *v1.Search) { s.Slack = 1 }),
		"search.max_length":              with(func(s *v1.Search) { s.MaxLength = 41 }),
		"search.structure.first_length":  with(func(s *v1.Search) { s.Structure.FirstLength = 0 }),
		"search.structure.second_length": with(func(s *v1.Search) { s.Structure.SecondLength = 13 }),
		"search.structure.third_length":  with(func(s *v1.Search) { s.Structure.ThirdLength = -1 }),
		"search.structure.setup_length":  with(func(s *v1.Search) { s.Structure.SetupLength = 99 }),
		"search.structure": with(func(s *v1.Search) {
			s.Goal, s.Position = nil, &v1.Position{Puzzle: "puzzles/3x3x3", Scramble: "R"}
			s.MaxLength = 9
		}),
		"there are more than":   structured(triangles(0), 12, 2, 2, 0),
		"pairs of such parts":   structured(triangles(0), 8, 1, 0, 0),
		"search.structure: Y: ": structured(triangles(0), 4, 4, 0, 0),
		"search.structure: set": structured(triangles(0), 4, 1, 0, 4),
		"search.goal: ":         with(func(s *v1.Search) { s.Goal, s.Structure = nil, &v1.Structure{FirstLength: 3, SecondLength: 1} }),
	} {
		_, err := r.searches.CreateSearch(t.Context(), &v1.CreateSearchRequest{Search: s, ValidateOnly: true})
		require.Equal(t, codes.InvalidArgument, status.Code(err), field)
		assert.ErrorContains(t, err, field)
	}
	// The short parts must fit into the memory.
	_, err := r.searches.CreateSearch(t.Context(), &v1.CreateSearchRequest{
		Search: with(func(s *v1.Search) { s.Structure.SetupLength, s.MemoryBytes = 3, 1000 }), ValidateOnly: true,
	})
	assert.Equal(t, codes.ResourceExhausted, status.Code(err))
}

// A search of hours stops at once when it is cancelled, and frees the workers.
func TestALongStructuredSearchIsCancelled(t *testing.T) {
	r := start(t, t.TempDir())
	name := r.create(t, "overnight", structured(triangles(0), 5, 2, 1, 1))
	stream, err := r.findings.StreamFindings(t.Context(), &v1.StreamFindingsRequest{Parent: name})
	require.NoError(t, err)
	for {
		event, err := stream.Recv()
		require.NoError(t, err)
		if p := event.GetSearch().GetProgress(); p.GetPairsTried() > 0 {
			assert.Zero(t, p.GetLength())
			assert.Zero(t, p.GetLeavesCovered())
			assert.Equal(t, p.GetPairsPredicted(), event.GetSearch().GetPairsTotal())
			break
		}
	}
	_, err = r.searches.CancelSearch(t.Context(), &v1.CancelSearchRequest{Name: name, RequestId: "enough"})
	require.NoError(t, err)
	cancelled := time.Now()
	for {
		if _, err := stream.Recv(); err != nil {
			require.ErrorIs(t, err, io.EOF)
			break
		}
	}
	short := r.create(t, "short", structured(corners(0), 2, 1, 0, 0))
	require.Equal(t, v1.SearchState_SEARCH_STATE_DONE, r.finish(t, short).GetState())
	t.Logf("the next search was done %s after the cancellation", time.Since(cancelled))
}

// What commutators reach is known to coverage, which calls none of it proven.
func TestCoverageKnowsWhatStructuredSearchesFound(t *testing.T) {
	r := start(t, t.TempDir())
	r.finish(t, r.create(t, "commutators", structured(edges(0), 2, 1, 0, 1)))
	found := r.found(t, "searches/commutators")
	c := r.cover(t, edgesGoal())
	assert.EqualValues(t, len(found), c.GetSequences())
	assert.Zero(t, c.GetProven())
	assert.Zero(t, c.GetProvenLength())
	assert.Zero(t, c.GetMissing())
	for _, row := range r.rows(t, edgesGoal(), 100) {
		assert.False(t, row.GetProven())
	}
	// With a full search to 5 what is that short is proven, whoever found it.
	r.finish(t, r.create(t, "all", edges(5)))
	c = r.cover(t, edgesGoal())
	assert.EqualValues(t, 5, c.GetProvenLength())
	for _, row := range r.rows(t, edgesGoal(), 100) {
		assert.Equal(t, row.GetLength() <= 6, row.GetProven())
	}
}

// So are sequences that leave a rotation of the whole over.
func TestCoverageKnowsSequencesThatTurnTheWhole(t *testing.T) {
	r := start(t, t.TempDir())
	s := edges(6)
	s.Goal.Ignore, s.Metric = []string{"corner", "centre"}, v1.Metric_METRIC_STM
	r.finish(t, r.create(t, "all", s))
	r.finish(t, r.create(t, "commutators", structured(proto.CloneOf(s), 2, 1, 0, 0)))
	turned := 0
	for _, f := range r.found(t, "searches/all") {
		if f.GetRotation() != "" {
			turned++
		}
	}
	assert.Positive(t, turned)
	g := &v1.CoverageGoal{Puzzle: "puzzles/3x3x3", Cycle: "edge", Ignore: s.Goal.Ignore, Metric: s.Metric}
	c := r.cover(t, g)
	assert.EqualValues(t, 2, c.GetSearches())
	assert.Zero(t, c.GetMissing())
}
