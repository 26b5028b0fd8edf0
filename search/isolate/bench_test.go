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

func shapeBench(t testing.TB, name, cycle, shape string, ignore []string, m puzzle.Metric) *isolate.Bench {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	s, err := goal.ParseShape(shape)
	require.NoError(t, err)
	g, err := goal.NewShape(p, cycle, s, nil, ignore)
	require.NoError(t, err)
	b, err := isolate.New(p, g, m, isolate.Options{})
	require.NoError(t, err)
	return b
}

// BenchmarkTable tries every 4-1 commutator of the demo puzzle, on one core:
// the number of pairs is that up to the puzzle's symmetries.
func BenchmarkTable(b *testing.B) {
	bench, _, _ := bench(b, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, isolate.Options{})
	for b.Loop() {
		table, err := bench.Table(b.Context(), 4, 1)
		require.NoError(b, err)
		b.ReportMetric(float64(table.Pairs), "pairs/op")
	}
}

// BenchmarkNew prepares the demo puzzle: most of it is the catalogue of classes.
func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		bench(b, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, isolate.Options{})
	}
}

// BenchmarkWith is what a person who studies one part waits for.
func BenchmarkWith(b *testing.B) {
	bench, p, _ := bench(b, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, isolate.Options{})
	x := expand(b, p, "a^2 2.b1 a^-2")
	for b.Loop() {
		meetings, err := bench.With(x, 1)
		require.NoError(b, err)
		for range meetings {
		}
	}
}
