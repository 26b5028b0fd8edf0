package coverage_test

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/coverage"
	"turnwright/search/deepen"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/table"
)

func ask(t require.TestingT, name, cycle string, ignore []string, axes ...string) (*puzzle.Puzzle, goal.Goal) {
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	g, err := goal.New(p, cycle, nil, ignore)
	require.NoError(t, err)
	require.NoError(t, g.Turn(p, axes...))
	return p, g
}

func parse(t require.TestingT, p *puzzle.Puzzle, text string) []puzzle.Turn {
	turns, err := notation.ParseTurns(p, text)
	require.NoError(t, err)
	return turns
}

// searched fills a table after each length of a search, and hands it to look.
func searched(t testing.TB, name, cycle string, ignore, axes []string, m puzzle.Metric, most int, look func(length int, c *coverage.Table)) {
	t.Helper()
	ctx := context.Background()
	p, g := ask(t, name, cycle, ignore, axes...)
	plan, err := deepen.NewPlan(deepen.Question{Puzzle: p, Goal: g, Metric: m, Max: most, KeepCore: ignore == nil})
	require.NoError(t, err)
	var tables []*table.Near
	for _, spec := range plan.Tables() {
		near, err := table.Build(ctx, spec, 2, nil)
		require.NoError(t, err)
		tables = append(tables, near)
	}
	out, err := coverage.New(p, g, m)
	require.NoError(t, err)
	best := map[uint64]deepen.Candidate{}
	add := func(found []deepen.Candidate) {
		for _, c := range found {
			if old, ok := best[c.Key]; !ok || c.Before(old) {
				best[c.Key] = c
				require.NoError(t, out.Add(c.Turns, c.Change))
			}
		}
	}
	for length := 1; length <= most; length++ {
		for _, u := range plan.Units(length) {
			report, err := plan.Run(ctx, u, tables[u.Pass], nil)
			require.NoError(t, err)
			add(report.Found)
		}
		var shorter []string
		for _, c := range best {
			if c.Length == length-2 {
				shorter = append(shorter, c.Text)
			}
		}
		slices.Sort(shorter)
		more, err := plan.Close(length, shorter)
		require.NoError(t, err)
		add(more)
		out.Prove(length)
		look(length, out)
	}
}

// judged fails unless every row's sequence makes its cycle, and is as long as it says.
func judged(t *testing.T, c *coverage.Table, rows []coverage.Row) {
	t.Helper()
	b := c.Bench
	for _, row := range rows {
		if row.How == coverage.Missing {
			continue
		}
		turns := parse(t, b.Puzzle, row.Sequence)
		assert.NoError(t, goal.CheckChange(b.Puzzle, b.Goal, turns, row.Slots.Change(&b.Puzzle.Types[b.Goal.Cycle])), row.Sequence)
		assert.Equal(t, row.Length, notation.Length(b.Puzzle, b.Metric, turns), row.Sequence)
	}
}

// Every class of the demo puzzle's triangles has a sequence after a search to length
// 9 already. A search to length 10 reaches 194 classes rather than 77, makes two
// sequences shorter and proves 273 of them rather than 192. The figures are those of
// this program, each sequence carried out by the slow judge.
func TestCoverageOfTheDemoPuzzle(t *testing.T) {
	if testing.Short() {
		t.Skip("searches for seconds")
	}
	want := map[int]coverage.Summary{
		9: {
			Classes: 303, Cycles: 68440, Found: 77, BySetup: 226, Proven: 192, ProvenLength: 9,
			Longest: 13, PerClass: 10.149, PerCycle: 10.126, Lengths: []int{8: 24, 53, 115, 81, 25, 5},
		},
		10: {
			Classes: 303, Cycles: 68440, Found: 194, BySetup: 109, Proven: 273, ProvenLength: 10,
			Longest: 13, PerClass: 10.142, PerCycle: 10.120, Lengths: []int{8: 24, 53, 117, 79, 25, 5},
		},
	}
	for most := range want {
		searched(t, "vertex-cut-dodecahedron", "triangle", nil, nil, puzzle.STM, most, func(length int, c *coverage.Table) {
			if length < most {
				return
			}
			rows, err := c.Rows(context.Background())
			require.NoError(t, err)
			judged(t, c, rows)
			got := coverage.Summarize(rows, c.Proven())
			t.Logf("to length %d: %+v", length, got)
			assert.InDelta(t, want[length].PerClass, got.PerClass, 0.0005)
			assert.InDelta(t, want[length].PerCycle, got.PerCycle, 0.0005)
			got.PerClass, got.PerCycle = want[length].PerClass, want[length].PerCycle
			assert.Equal(t, want[length], got)
		})
	}
}

// What is said to be proven after each length of a search is never made shorter by a
// longer one; a class is found or set up, and a row says at least how long it must be.
func TestProvenLengthsStay(t *testing.T) {
	for _, c := range []struct {
		puzzle, cycle string
		ignore, axes  []string
		metric        puzzle.Metric
		max           int
	}{
		{"3x3x3", "edge", []string{"corner"}, nil, puzzle.OBTM, 7},
		{"3x3x3", "edge", []string{"corner"}, nil, puzzle.QTM, 7},
		{"3x3x3", "edge", []string{"corner"}, []string{"U", "R", "F"}, puzzle.OBTM, 7},
		{"2x2x2", "corner", nil, nil, puzzle.OBTM, 8},
		{"tetrahedron", "edge", nil, nil, puzzle.OBTM, 8},
		{"tetrahedron", "edge", []string{"corner"}, nil, puzzle.OBTM, 6},
		{"skewb", "centre", []string{"corner-1", "corner-2"}, nil, puzzle.OBTM, 6},
	} {
		t.Run(c.puzzle+" "+c.cycle, func(t *testing.T) {
			if testing.Short() && c.puzzle != "tetrahedron" {
				t.Skip("takes seconds")
			}
			var old []coverage.Row
			searched(t, c.puzzle, c.cycle, c.ignore, c.axes, c.metric, c.max, func(length int, c *coverage.Table) {
				rows, err := c.Rows(context.Background())
				require.NoError(t, err)
				judged(t, c, rows)
				for i, row := range rows {
					assert.Equal(t, row.How != coverage.Missing && row.Length <= length+1, row.Proven)
					if row.How == coverage.Missing {
						assert.Equal(t, length+1, row.AtLeast)
						continue
					}
					if old == nil {
						continue
					}
					assert.GreaterOrEqual(t, row.Length, old[i].AtLeast, "class %d", row.Class)
					if old[i].Proven {
						assert.Equal(t, old[i].Length, row.Length, "class %d", row.Class)
					}
				}
				old = rows
			})
			assert.NotEmpty(t, slices.DeleteFunc(old, func(r coverage.Row) bool { return !r.Proven }))
		})
	}
}
