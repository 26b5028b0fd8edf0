package deepen_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/deepen"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// What is tracked must not move in any change that is wanted: protected pieces, or
// pieces of the wanted type in so many sets without a common piece that one set is
// left alone by any change.
func TestTrackedPiecesAreLeftAloneByEveryChange(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	single, several := 0, 0
	for _, c := range []struct {
		puzzle, cycle, shape string
		ignore               []string
		metric               puzzle.Metric
	}{
		{"3x3x3", "corner", "3", nil, puzzle.OBTM},
		{"3x3x3", "corner", "3", []string{"edge"}, puzzle.STM},
		{"3x3x3", "edge", "2+2", []string{"corner"}, puzzle.OBTM},
		{"2x2x2", "corner", "3", nil, puzzle.OBTM},
		{"vertex-cube", "edge", "3", nil, puzzle.STM},
		{"vertex-cut-dodecahedron", "triangle", "3", nil, puzzle.STM},
		{"vertex-cut-dodecahedron", "edge", "5", []string{"triangle", "centre"}, puzzle.STM},
		{"vertex-cut-dodecahedron", "centre", "3", []string{"triangle"}, puzzle.STM},
	} {
		p, err := puzzle.Find(c.puzzle)
		require.NoError(t, err)
		shape, err := goal.ParseShape(c.shape)
		require.NoError(t, err)
		g, err := goal.NewShape(p, c.cycle, shape, nil, c.ignore)
		require.NoError(t, err)
		plan, err := deepen.NewPlan(deepen.Question{Puzzle: p, Goal: g, Metric: c.metric, Max: 8})
		require.NoError(t, err)
		var sets []string
		owner := map[int]string{} // of pieces of the wanted type: the set that they are in
		for _, spec := range plan.Tables() {
			name := fmt.Sprint(spec.Tracked)
			if !slices.Contains(sets, name) {
				sets = append(sets, name)
			}
			for _, piece := range spec.Tracked {
				typ := p.Pieces[piece].Type
				if typ != g.Cycle {
					assert.Contains(t, g.Protect, typ, "%v", c)
					continue
				}
				if old, ok := owner[piece]; ok {
					assert.Equal(t, old, name, "%v: piece %d is in two sets", c, piece)
				}
				owner[piece] = name
			}
		}
		if len(owner) == 0 {
			assert.Len(t, sets, 1)
			single++
			continue
		}
		assert.Len(t, sets, shape.Moved()+1, "%v", c)
		several++
	}
	assert.Positive(t, single)
	assert.Positive(t, several)
}

// A unit tells all of its progress, and run twice it reports the same, to the letter.
func TestAUnitIsDeterministic(t *testing.T) {
	for _, plain := range []bool{false, true} {
		q := question(t, "3x3x3", "edge", []string{"corner"}, puzzle.OBTM, 7)
		q.Plain = plain
		plan, tables := prepare(t, q)
		again, err := deepen.NewPlan(q)
		require.NoError(t, err)
		for length := 1; length <= 7; length++ {
			require.Equal(t, plan.Units(length), again.Units(length))
			for _, u := range plan.Units(length) {
				told := uint64(0)
				first, err := plan.Run(t.Context(), u, tables[u.Pass], func(leaves uint64) { told += leaves })
				require.NoError(t, err)
				assert.Equal(t, first.Leaves, told)
				second, err := again.Run(t.Context(), u, tables[u.Pass], nil)
				require.NoError(t, err)
				assert.Equal(t, first, second)
			}
		}
	}
}

// Units are numbered, and cut each pass over all beginnings without gap or overlap.
func TestUnitsTileALength(t *testing.T) {
	for _, q := range []deepen.Question{
		question(t, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, 11),
		question(t, "3x3x3", "corner", []string{"edge"}, puzzle.STM, 9),
		question(t, "4x4x4", "wing", nil, puzzle.OBTM, 6),
	} {
		if testing.Short() && q.Max > 9 {
			continue // its plan takes seconds of one goroutine
		}
		plan, err := deepen.NewPlan(q)
		require.NoError(t, err)
		for length := 1; length <= q.Max; length++ {
			sum := uint64(0)
			last := map[int]int{} // by pass
			for i, u := range plan.Units(length) {
				assert.Equal(t, i, u.Index)
				assert.Equal(t, length, u.Length)
				assert.Equal(t, last[u.Pass], u.First)
				assert.Less(t, u.First, u.Last)
				last[u.Pass] = u.Last
				sum += u.Leaves
			}
			assert.Equal(t, plan.Leaves(length), sum)
			assert.Len(t, last, len(plan.Tables()))
			for pass := range plan.Tables() {
				assert.Equal(t, last[0], last[pass])
			}
		}
	}
}

func TestWordsAndAnswersOfAPlan(t *testing.T) {
	q := question(t, "3x3x3", "edge", []string{"corner"}, puzzle.OBTM, 6)
	plan, err := deepen.NewPlan(q)
	require.NoError(t, err)
	// OEIS A333298, whatever alphabet the search itself uses.
	for length, want := range []string{"1", "18", "243", "3240", "43254", "577368", "7706988"} {
		assert.Equal(t, want, plan.Words(length).String())
	}
	assert.Equal(t, 48, plan.Symmetries())
	findings, cycles := plan.Answers()
	assert.Equal(t, []int{27, 1760}, []int{findings, cycles})

	require.NoError(t, q.Goal.Pin(q.Puzzle, "UF", "UR"))
	plan, err = deepen.NewPlan(q)
	require.NoError(t, err)
	findings, cycles = plan.Answers()
	assert.Equal(t, []int{20, 20}, []int{findings, cycles}, "ten places for the third edge, two ways to turn it")

	shape, err := goal.ParseShape("2+2")
	require.NoError(t, err)
	q.Goal, err = goal.NewShape(q.Puzzle, "edge", shape, nil, []string{"corner"})
	require.NoError(t, err)
	plan, err = deepen.NewPlan(q)
	require.NoError(t, err)
	findings, cycles = plan.Answers()
	assert.Zero(t, findings+cycles, "they are not listed")
}

// Close believes no text that it is given.
func TestCloseRefusesWhatIsNoFinding(t *testing.T) {
	q := question(t, "3x3x3", "edge", []string{"corner"}, puzzle.OBTM, 6)
	plan, err := deepen.NewPlan(q)
	require.NoError(t, err)
	for _, text := range []string{"R U (", "R U", "", "x"} {
		_, err := plan.Close(6, []string{text})
		assert.ErrorContains(t, err, "close length 6", "%q", text)
	}
	_, err = plan.Close(6, []string{"R"})
	assert.ErrorIs(t, err, goal.ErrNotMet)
	nothing, err := plan.Close(6, nil)
	require.NoError(t, err)
	assert.Empty(t, nothing)
	q.Plain = true
	plan, err = deepen.NewPlan(q)
	require.NoError(t, err)
	nothing, err = plan.Close(6, []string{"R U ("})
	require.NoError(t, err, "a plain search needs no closing")
	assert.Empty(t, nothing)
}

// Close conjugates what it is given by every turn of length 1.
func TestCloseConjugates(t *testing.T) {
	q := question(t, "3x3x3", "edge", nil, puzzle.STM, 6)
	plan, err := deepen.NewPlan(q)
	require.NoError(t, err)
	more, err := plan.Close(6, []string{"2.L' U2 2.L U2"})
	require.NoError(t, err)
	require.NotEmpty(t, more)
	for _, c := range more {
		assert.Equal(t, 6, c.Length, c.Text)
		require.NoError(t, deepen.Verify(q, c))
	}
	// [F: M' U2 M U2], worked out apart.
	turns, err := notation.ParseTurns(q.Puzzle, "[F: 2.L' U2 2.L U2]")
	require.NoError(t, err)
	change, err := goal.Check(q.Puzzle, q.Goal, turns)
	require.NoError(t, err)
	class := plan.Catalog.ClassOf(goal.Cycle(change.Cycles(&q.Puzzle.Types[q.Goal.Cycle])[0]))
	assert.True(t, slices.ContainsFunc(more, func(c deepen.Candidate) bool { return c.Class == class }))
}

func TestVerifyRefusesTurnsAboutOtherAxes(t *testing.T) {
	q := question(t, "3x3x3", "edge", []string{"corner"}, puzzle.OBTM, 4)
	all, _ := finish(t, q)
	require.NotEmpty(t, all)
	for _, c := range all {
		narrow := q
		narrow.Goal.Axes = nil
		require.NoError(t, narrow.Goal.Turn(q.Puzzle, "D"))
		assert.ErrorContains(t, deepen.Verify(narrow, c), "about an axis that it may not", c.Text)
	}
}

func TestMoreQuestionsThatCantBeAnswered(t *testing.T) {
	q := question(t, "3x3x3", "edge", nil, puzzle.OBTM, 5)
	for want, change := range map[string]func(q *deepen.Question){
		"-1 sequences": func(q *deepen.Question) { q.Each = -1 },
		"21 sequences": func(q *deepen.Question) { q.Each = 21 },
	} {
		bad := q
		change(&bad)
		_, err := deepen.NewPlan(bad)
		assert.ErrorContains(t, err, want)
	}
}
