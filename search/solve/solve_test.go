package solve_test

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/breadth"
	"turnwright/search/notation"
	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/solve"
)

var built sync.Map // tables by key

// prepare makes the plan, and the tables unless a test has made them before.
func prepare(t require.TestingT, q solve.Question) (*solve.Plan, []*pattern.Table) {
	plan, err := solve.NewPlan(q)
	require.NoError(t, err)
	var tables []*pattern.Table
	for _, spec := range plan.Tables() {
		table, ok := built.Load(spec.Key())
		if !ok {
			table, err = pattern.Build(context.Background(), spec, 2, nil)
			require.NoError(t, err)
			built.Store(spec.Key(), table)
		}
		tables = append(tables, table.(*pattern.Table))
	}
	return plan, tables
}

func find(t require.TestingT, name string) *puzzle.Puzzle {
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	return p
}

func parse(t require.TestingT, p *puzzle.Puzzle, text string) []puzzle.Turn {
	turns, err := notation.ParseTurns(p, text)
	require.NoError(t, err)
	return turns
}

// distances is the twin: the least cost of every position up to a depth, by the
// plain breadth-first search, and how many shortest words lead to it is not asked.
type distances map[string]int

func plain(t require.TestingT, p *puzzle.Puzzle, m puzzle.Metric, depth int) distances {
	out := distances{}
	s := breadth.Search{Moves: breadth.Moves(p, m), Track: p.Identity(), Max: depth, Limit: 1e6}
	require.NoError(t, s.Visit(func(position []uint16, distance int) { out[fmt.Sprint(position)] = distance }))
	return out
}

// of is the distance of what turns do, however the whole is held.
func (d distances) of(p *puzzle.Puzzle, turns []puzzle.Turn) (int, bool) {
	_, rotation := p.ToFrame(turns)
	undo := p.Symmetries[p.Symmetries[rotation].Inverse].Stickers
	distance, ok := d[fmt.Sprint([]uint16(p.Apply(turns).Then(undo)))]
	return distance, ok
}

// Random words are solved in as few turns as the breadth-first search says.
func TestAgainstBreadth(t *testing.T) {
	for _, c := range []struct {
		puzzle string
		metric puzzle.Metric
		depth  int
		memory int64
	}{
		{"cube-2", puzzle.OBTM, 5, 1 << 20},
		{"cube-2", puzzle.QTM, 6, 1 << 20},
		{"cube-3", puzzle.OBTM, 4, 1 << 18},
		{"cube-3", puzzle.STM, 3, 1 << 18},
		{"cube-3", puzzle.QTM, 4, 1 << 18},
		{"tetrahedron", puzzle.OBTM, 5, 1 << 20},
		{"centre-cut-vertex-cube", puzzle.OBTM, 5, 1 << 20},
	} {
		t.Run(c.puzzle+" "+c.metric.String(), func(t *testing.T) {
			p := find(t, c.puzzle)
			known := plain(t, p, c.metric, c.depth)
			rapid.Check(t, func(t *rapid.T) {
				start := rapid.SliceOfN(turn(p), 0, c.depth).Draw(t, "start")
				want, ok := known.of(p, start)
				if !ok {
					t.Skip("farther than the plain search went")
				}
				q := solve.Question{Puzzle: p, Metric: c.metric, Start: start, Max: c.depth, Memory: c.memory}
				plan, tables := prepare(t, q)
				require.LessOrEqual(t, plan.Bound(tables), want, "what tables say is never too much")
				answer, err := plan.Solve(context.Background(), tables, 1, nil)
				require.NoError(t, err)
				require.Equal(t, want, answer.Covered)
				require.NotEmpty(t, answer.Solutions)
				for _, s := range answer.Solutions {
					require.Equal(t, want, s.Length)
					require.NoError(t, solve.Verify(q, s))
				}
			})
		})
	}
}

// turn draws any turn, of inner layers and of the whole too.
func turn(p *puzzle.Puzzle) *rapid.Generator[puzzle.Turn] {
	return rapid.Custom(func(t *rapid.T) puzzle.Turn {
		axis := rapid.IntRange(0, len(p.Axes)-1).Draw(t, "axis")
		line := p.Lines[p.Axes[axis].Line]
		from := rapid.IntRange(1, line.Layers).Draw(t, "from")
		return puzzle.Turn{Axis: axis, From: from, To: rapid.IntRange(from, line.Layers).Draw(t, "to"),
			Amount: rapid.IntRange(1, line.Steps-1).Draw(t, "amount")}
	})
}

// All solutions means all canonical words: as many as a walk over all of them finds.
func TestAllSolutions(t *testing.T) {
	p := find(t, "cube-2")
	q := solve.Question{Puzzle: p, Metric: puzzle.OBTM, Start: parse(t, p, "R2 F2 U2 R2"), Max: 4, Memory: 1 << 20}
	plan, tables := prepare(t, q)
	answer, err := plan.Solve(context.Background(), tables, 2, nil)
	require.NoError(t, err)
	a := plan.Alphabet
	goal := p.Apply(parse(t, p, "R2 U2 F2 R2"))
	count := 0
	var walk func(perm puzzle.Perm, state int32, left int)
	walk = func(perm puzzle.Perm, state int32, left int) {
		if left == 0 {
			if slices.Equal(goal, perm) {
				count++
			}
			return
		}
		for i, l := range a.Letters {
			if to := a.Next(state, i); to >= 0 {
				walk(perm.Then(p.SyllablePerm(l.Syllable)), to, left-1)
			}
		}
	}
	walk(p.Identity(), a.Start(), 4)
	assert.Equal(t, count, len(answer.Solutions))
	assert.Greater(t, count, 1)

	q.Limit = 1
	first, _ := prepare(t, q)
	some, err := first.Solve(context.Background(), tables, 2, nil)
	require.NoError(t, err)
	assert.Equal(t, answer.Solutions[:1], some.Solutions)
}
