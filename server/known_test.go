package server_test

import (
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// pocket asks for pure 3-cycles of the corners of the 2x2x2.
func pocket(max int32) *v1.Search {
	return &v1.Search{Goal: &v1.Goal{Puzzle: "puzzles/2x2x2", Cycle: "corner"}, Metric: v1.Metric_METRIC_OBTM, MaxLength: max}
}

func pocketGoal() *v1.CoverageGoal {
	return &v1.CoverageGoal{Puzzle: "puzzles/2x2x2", Cycle: "corner", Metric: v1.Metric_METRIC_OBTM}
}

func cornersGoal() *v1.CoverageGoal {
	return &v1.CoverageGoal{Puzzle: "puzzles/3x3x3", Cycle: "corner", Metric: v1.Metric_METRIC_OBTM}
}

func edgesGoal() *v1.CoverageGoal {
	return &v1.CoverageGoal{Puzzle: "puzzles/3x3x3", Cycle: "edge", Ignore: []string{"corner"}, Metric: v1.Metric_METRIC_OBTM}
}

func (r *running) cover(t *testing.T, g *v1.CoverageGoal) *v1.Coverage {
	t.Helper()
	reply, err := r.coverage.GetCoverage(t.Context(), &v1.GetCoverageRequest{Goal: g})
	require.NoError(t, err)
	return reply.GetCoverage()
}

func (r *running) rows(t *testing.T, g *v1.CoverageGoal, size int32) []*v1.CoverageRow {
	t.Helper()
	var out []*v1.CoverageRow
	for token := ""; ; {
		page, err := r.coverage.ListCoverageRows(t.Context(), &v1.ListCoverageRowsRequest{Goal: g, PageSize: size, PageToken: token})
		require.NoError(t, err)
		out = append(out, page.GetRows()...)
		if token = page.GetNextPageToken(); token == "" {
			return out
		}
	}
}

func find(t *testing.T, name string) *puzzle.Puzzle {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	return p
}

func turns(t *testing.T, p *puzzle.Puzzle, text string) []puzzle.Turn {
	t.Helper()
	if text == "" {
		return nil
	}
	out, err := notation.ParseTurns(p, text)
	require.NoError(t, err)
	return out
}

// solved tells whether turns leave every sticker where it was, however the puzzle is held.
func solved(p *puzzle.Puzzle, turns []puzzle.Turn) bool {
	end := p.Apply(turns)
	return slices.ContainsFunc(p.Symmetries[:p.Rotations], func(s puzzle.Symmetry) bool { return slices.Equal(s.Stickers, end) })
}

// explained checks that a reading is the sequence, up to how the puzzle is held.
func explained(t *testing.T, p *puzzle.Puzzle, e *v1.Explanation, sequence string) {
	t.Helper()
	require.NotNil(t, e, sequence)
	assert.True(t, solved(p, append(puzzle.Invert(turns(t, p, e.GetText())), turns(t, p, sequence)...)), "%s reads as %s", sequence, e.GetText())
}

func TestCoverageGrowsWithEverySearchForTheGoal(t *testing.T) {
	r := start(t, t.TempDir())
	before := r.cover(t, edgesGoal())
	assert.Equal(t, before.GetClasses(), before.GetMissing())
	assert.EqualValues(t, 1760, before.GetCycles(), "12·11·10/3 · 2² directed 3-cycles of edges: counted by hand")
	assert.Equal(t, []string{"centre"}, before.GetGoal().GetProtect())
	assert.Zero(t, before.GetSearches())

	r.finish(t, r.create(t, "first", edges(4)))
	first := r.cover(t, edgesGoal())
	assert.EqualValues(t, 1, first.GetSearches())
	assert.EqualValues(t, 4, first.GetProvenLength())
	assert.Zero(t, first.GetMissing(), "every class follows by a setup")

	// Another metric, pins, chosen axes: other questions, whose answers don't count.
	others := map[string]*v1.Search{"metric": edges(5), "pins": edges(5), "axes": edges(5)}
	others["metric"].Metric = v1.Metric_METRIC_QTM
	others["pins"].Goal.Pins = []*v1.Pin{{From: "UF", To: "UB"}}
	others["axes"].Goal.Axes = []string{"U", "R"}
	for name, search := range others {
		r.finish(t, r.create(t, name, search))
	}
	assert.True(t, proto.Equal(first, r.cover(t, edgesGoal())))

	r.finish(t, r.create(t, "second", edges(5)))
	second := r.cover(t, edgesGoal())
	assert.EqualValues(t, 2, second.GetSearches())
	assert.EqualValues(t, 5, second.GetProvenLength())
	assert.Greater(t, second.GetProven(), first.GetProven())
	assert.LessOrEqual(t, second.GetMeanPerClass(), first.GetMeanPerClass())
}

func TestRowsOfACoverageAreTrueAndPaged(t *testing.T) {
	r := start(t, t.TempDir())
	r.finish(t, r.create(t, "edges", edges(5)))
	sum := r.cover(t, edgesGoal())
	rows := r.rows(t, edgesGoal(), 0)
	require.Len(t, rows, int(sum.GetClasses()))
	paged := r.rows(t, edgesGoal(), 4)
	require.Len(t, paged, len(rows))

	p := find(t, "3x3x3")
	g, err := goal.New(p, "edge", nil, []string{"corner"})
	require.NoError(t, err)
	var cycles int64
	classes := map[int32]int32{}
	for i, row := range rows {
		assert.True(t, proto.Equal(row, paged[i]))
		assert.EqualValues(t, i+1, row.GetClass())
		cycles += row.GetCycles()
		classes[row.GetLength()]++
		word := turns(t, p, row.GetSequence())
		assert.EqualValues(t, row.GetLength(), notation.Length(p, puzzle.OBTM, word))
		slots := row.GetCycle().GetSlots()
		want := goal.Cycle{int(slots[0]), int(slots[1]), int(slots[2])}.Change(&p.Types[g.Cycle])
		assert.NoError(t, goal.CheckChange(p, g, word, want), row.GetSequence())
		explained(t, p, row.GetExplanation(), row.GetSequence())
		assert.Equal(t, row.GetLength() <= 6, row.GetProven(), "lengths up to 5 are covered")
		assert.Equal(t, min(row.GetLength(), 6), row.GetLeastLength())
	}
	assert.Equal(t, sum.GetCycles(), cycles)
	for _, l := range sum.GetLengths() {
		assert.Equal(t, classes[l.GetLength()], l.GetClasses())
	}
}

func TestKnownSequencesFitAtPinsAndBetweenMoves(t *testing.T) {
	r := start(t, t.TempDir())
	r.finish(t, r.create(t, "pocket", pocket(8)))
	const heart = "R' D' R U' R' D R U" // three corners: common practice
	for name, req := range map[string]*v1.FitSequencesRequest{
		"of searches":         {Goal: pocketGoal()},
		"known by heart":      {Goal: pocketGoal(), Sequences: []string{heart}},
		"between moves":       {Goal: cornersGoal(), Sequences: []string{heart}, Before: "F2 R", After: "U'"},
		"of searches between": {Goal: pocketGoal(), After: "U'"},
	} {
		t.Run(name, func(t *testing.T) {
			p := find(t, strings.TrimPrefix(req.GetGoal().GetPuzzle(), "puzzles/"))
			g, err := goal.New(p, "corner", nil, nil)
			require.NoError(t, err)
			require.NoError(t, g.Pin(p, "UFR", "UBR"))
			req.Pins, req.Limit = []*v1.Pin{{From: "UFR", To: "UBR"}}, 7
			got, err := r.fits.FitSequences(t.Context(), req)
			require.NoError(t, err)
			require.Len(t, got.GetChoices(), 7)
			last := int32(-100)
			for _, c := range got.GetChoices() {
				word := turns(t, p, c.GetSequence())
				change, err := goal.Check(p, g, word)
				require.NoError(t, err, c.GetSequence())
				assert.Equal(t, g.Pins[0].To, change.After(&p.Types[g.Cycle], g.Pins[0].From))
				explained(t, p, c.GetExplanation(), c.GetSequence())
				rank := c.GetLength()
				if j := c.GetJoined(); j != nil {
					rank = j.GetNet()
					before, after, whole := turns(t, p, req.Before), turns(t, p, req.After), turns(t, p, j.GetSequence())
					assert.EqualValues(t, j.GetLength(), notation.Length(p, puzzle.OBTM, whole))
					assert.Equal(t, int32(len(before)+len(after))+j.GetNet(), j.GetLength())
					if p.Name == "cube-3" { // nothing turns the whole there, so that the moves after it stay as they are
						assert.True(t, solved(p, slices.Concat(whole, puzzle.Invert(slices.Concat(before, word, after)))), j.GetSequence())
					}
				}
				assert.LessOrEqual(t, last, rank)
				last = rank
			}
		})
	}
}

func TestInsertionsSolveWhatASolutionLeaves(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	r := start(t, t.TempDir())
	r.finish(t, r.create(t, "pocket", pocket(8)))
	p := find(t, "2x2x2")
	skeleton := "F2 R U' B"
	for _, c := range []struct {
		leaves     string
		insertions int32
	}{
		{"R' D' R U' R' D R U", 1}, // one 3-cycle: common practice
		{"R' D' R U' R' D R U F D' F' U F D F' U'", 2},
	} {
		scramble := c.leaves + " (" + skeleton + ")'"
		got, err := r.insertions.InsertSequences(t.Context(), &v1.InsertSequencesRequest{
			Puzzle: "puzzles/2x2x2", Metric: v1.Metric_METRIC_OBTM, Scramble: scramble, Solution: skeleton, Insertions: c.insertions, Limit: 5,
		})
		require.NoError(t, err)
		assert.EqualValues(t, 4, got.GetLength())
		require.Len(t, got.GetSources(), 1)
		assert.Equal(t, "corner", got.GetSources()[0].GetGoal().GetCycle())
		assert.EqualValues(t, 8, got.GetSources()[0].GetProvenLength())
		require.NotEmpty(t, got.GetSolutions())
		last := int32(0)
		for _, s := range got.GetSolutions() {
			word := turns(t, p, s.GetSolution())
			assert.True(t, solved(p, slices.Concat(turns(t, p, scramble), word)), s.GetSolution())
			assert.EqualValues(t, s.GetLength(), notation.Length(p, puzzle.OBTM, word))
			assert.LessOrEqual(t, last, s.GetLength())
			last = s.GetLength()
			net := int32(0)
			for _, in := range s.GetInsertions() {
				net += in.GetNet()
				explained(t, p, in.GetExplanation(), in.GetSequence())
			}
			assert.Equal(t, got.GetLength()+net, s.GetLength())
			parts := s.GetInsertions()[len(s.GetInsertions())-1]
			whole := strings.Join([]string{parts.GetBefore(), parts.GetSequence(), parts.GetAfter()}, " ")
			assert.True(t, solved(p, slices.Concat(turns(t, p, scramble), turns(t, p, whole))), whole)
		}
	}
}

func TestFindingsAreRankedBetweenMoves(t *testing.T) {
	r := start(t, t.TempDir())
	name := r.create(t, "edges", edges(6))
	r.finish(t, name)
	p := find(t, "3x3x3")
	list, err := r.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: name, PageSize: 1000})
	require.NoError(t, err)
	lengths := map[string]int32{}
	for _, f := range list.GetFindings() {
		lengths[f.GetName()] = f.GetLength()
	}
	var joined []*v1.JoinedFinding
	for token := ""; ; {
		page, err := r.insertions.JoinFindings(t.Context(), &v1.JoinFindingsRequest{
			Parent: name, Before: "L D F", After: "U2 B", PageSize: 5, PageToken: token,
		})
		require.NoError(t, err)
		joined = append(joined, page.GetFindings()...)
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	require.Len(t, joined, len(lengths))
	seen := map[string]bool{}
	cancelled := false
	last := int32(-100)
	for _, f := range joined {
		assert.Equal(t, lengths[f.GetFinding()], f.GetLength())
		assert.False(t, seen[f.GetFinding()])
		seen[f.GetFinding()] = true
		explained(t, p, f.GetExplanation(), f.GetSequence())
		j := f.GetJoined()
		assert.EqualValues(t, j.GetLength(), notation.Length(p, puzzle.OBTM, turns(t, p, j.GetSequence())))
		assert.Equal(t, 5+j.GetNet(), j.GetLength())
		assert.LessOrEqual(t, j.GetNet(), f.GetLength())
		assert.LessOrEqual(t, last, j.GetNet())
		last = j.GetNet()
		cancelled = cancelled || j.GetNet() < f.GetLength()
	}
	assert.True(t, cancelled, "some begin with F or end with U")
}

// Calls of all kinds at once share tables: under the race detector that they only read.
func TestCallsAtOnceShareWhatIsKnown(t *testing.T) {
	r := start(t, t.TempDir())
	r.finish(t, r.create(t, "pocket", pocket(8)))
	var calls sync.WaitGroup
	for range 3 {
		calls.Go(func() {
			_, err := r.coverage.ListCoverageRows(t.Context(), &v1.ListCoverageRowsRequest{Goal: pocketGoal()})
			assert.NoError(t, err)
		})
		calls.Go(func() {
			_, err := r.fits.FitSequences(t.Context(), &v1.FitSequencesRequest{Goal: pocketGoal(), Places: []string{"UFR", "UBR"}})
			assert.NoError(t, err)
		})
		calls.Go(func() {
			_, err := r.insertions.InsertSequences(t.Context(), &v1.InsertSequencesRequest{
				Puzzle: "puzzles/2x2x2", Metric: v1.Metric_METRIC_OBTM, Scramble: "R' D' R U' R' D R U",
			})
			assert.NoError(t, err)
		})
		calls.Go(func() {
			_, err := r.insertions.JoinFindings(t.Context(), &v1.JoinFindingsRequest{Parent: "searches/pocket", Before: "R"})
			assert.NoError(t, err)
		})
	}
	calls.Wait()
}
