package coverage_test

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/coverage"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// bySlowTwin finds the least length for each class that setups can make of a
// sequence, with no detour over anything longer than most: breadth first, one turn
// of cost 1 at a time on both sides, what merges merged, every sequence kept by its text
// and carried out by the slow judge.
func bySlowTwin(t *testing.T, c *coverage.Table, text string, most int) map[int]int {
	t.Helper()
	b := c.Bench
	p := b.Puzzle
	first := notation.Simplify(p, parse(t, p, text))
	known := map[string]bool{}
	least := map[int]int{}
	queue := [][]puzzle.Turn{first}
	for len(queue) > 0 {
		turns := queue[0]
		queue = queue[1:]
		// The rotation of the whole after which nothing but the cycle is left.
		rotation := slices.IndexFunc(p.Symmetries[:p.Rotations], func(s puzzle.Symmetry) bool {
			_, ok := goal.Judge(p, b.Goal, p.Apply(turns).Then(s.Stickers.Inverse()))
			return ok
		})
		require.GreaterOrEqual(t, rotation, 0)
		change, err := goal.Check(p, b.Goal, turns)
		require.NoError(t, err)
		class := b.Catalog.ClassOf(goal.Cycle(change.Cycles(&p.Types[b.Goal.Cycle])[0]))
		length := notation.Length(p, b.Metric, turns)
		if old, ok := least[class]; !ok || length < old {
			least[class] = length
		}
		for _, setup := range b.Setups {
			undo := p.Symmetries[rotation].Image(puzzle.Invert([]puzzle.Turn{setup})[0])
			// By the frame and back, so that no rotations of the whole pile up.
			word, _ := p.ToFrame(slices.Concat([]puzzle.Turn{setup}, turns, []puzzle.Turn{undo}))
			next, _ := p.FromFrame(b.Metric, word)
			key := notation.Print(p, next)
			if notation.Length(p, b.Metric, next) <= most && !known[key] {
				known[key] = true
				queue = append(queue, next)
			}
		}
	}
	return least
}

// The sequences are as on common practice's lists (the commutators of the 3x3x3), or
// were found by this program's search.
func TestSetupsAgainstTheSlowTwin(t *testing.T) {
	for _, c := range []struct {
		puzzle, cycle string
		metric        puzzle.Metric
		text          string
		most          int
	}{
		{"3x3x3", "corner", puzzle.OBTM, "R' D' R U' R' D R U", 10},
		{"3x3x3", "corner", puzzle.OBTM, "R' F R' B2 R F' R' B2 R2", 9},
		{"3x3x3", "edge", puzzle.STM, "2.L2 U 2.L U2 2.L' U 2.L2", 7},
		{"3x3x3", "edge", puzzle.STM, "2.L' U2 2.L U2", 5},
		{"2x2x2", "corner", puzzle.OBTM, "R' D' R U' R' D R U", 10},
	} {
		t.Run(c.puzzle+" "+c.text, func(t *testing.T) {
			if testing.Short() && c.most > 5 {
				t.Skip("takes seconds")
			}
			p, g := ask(t, c.puzzle, c.cycle, nil)
			table, err := coverage.New(p, g, c.metric)
			require.NoError(t, err)
			if !assert.NoError(t, table.Add(parse(t, p, c.text), nil)) {
				return
			}
			rows, err := table.Rows(context.Background())
			require.NoError(t, err)
			judged(t, table, rows)
			twin := bySlowTwin(t, table, c.text, c.most)
			require.NotEmpty(t, twin)
			got := map[int]int{}
			for _, row := range rows {
				if row.Length <= c.most {
					got[row.Class] = row.Length
				}
			}
			assert.Equal(t, twin, got)
			t.Log(coverage.Summarize(rows, 0), len(twin))
		})
	}
}
