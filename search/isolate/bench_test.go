package isolate_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"turnwright/search/goal"
	"turnwright/search/isolate"
	"turnwright/search/puzzle"
)

func bench(t testing.TB, name, cycle string, ignore []string, m puzzle.Metric, o isolate.Options) (*isolate.Bench, *puzzle.Puzzle, goal.Goal) {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	g, err := goal.New(p, cycle, nil, ignore)
	require.NoError(t, err)
	b, err := isolate.New(p, g, m, o)
	require.NoError(t, err)
	return b, p, g
}

func TestTry(t *testing.T) {
	b, p, _ := bench(t, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, isolate.Options{})
	for n := 1; n <= 4; n++ {
		tb, err := b.Table(t.Context(), n, 1)
		require.NoError(t, err)
		t.Log(n, tb.Pairs, tb.Lemma, tb.Sets)
		for i, row := range tb.Cells {
			for j, c := range row {
				if c.Commutators > 0 {
					t.Log(i, j, c.Commutators, len(c.Best), c.Best[0].Structure, c.Best[0].Length, c.Best[0].Describe(p, puzzle.STM))
				}
			}
		}
	}
}

func BenchmarkTable(b *testing.B) {
	bench, _, _ := bench(b, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, isolate.Options{})
	for b.Loop() {
		tb, err := bench.Table(b.Context(), 4, 1)
		require.NoError(b, err)
		b.ReportMetric(float64(tb.Pairs), "pairs")
	}
}
