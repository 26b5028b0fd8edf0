package deepen_test

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

var update = flag.Bool("update", false, "write the golden files again")

// The signature of the engine: for some goals the words of each length, the leaves
// that cover them, and the classes and cycles first reached there. Words, classes
// and cycles are facts about the puzzles. Leaves and hits tell what the search
// asked for: they change only when a commit means them to, and then it says so.
func TestSignature(t *testing.T) {
	const path = "testdata/signature.golden"
	var out strings.Builder
	for _, c := range []struct {
		puzzle, cycle string
		ignore        []string
		metric        puzzle.Metric
		max           int
		plain, large  bool
	}{
		{"vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, 9, false, true},
		{"vertex-cut-dodecahedron", "edge", []string{"centre", "triangle"}, puzzle.STM, 5, false, false},
		{"3x3x3", "corner", nil, puzzle.OBTM, 10, false, false},
		{"3x3x3", "corner", nil, puzzle.OBTM, 8, true, false},
		{"3x3x3", "edge", nil, puzzle.STM, 7, false, false},
		{"3x3x3", "edge", []string{"corner"}, puzzle.QTM, 7, false, false},
		{"2x2x2", "corner", nil, puzzle.OBTM, 9, false, false},
		{"edge-cube", "centre", []string{"corner"}, puzzle.OBTM, 7, false, false}, // families commute
		{"shallow-cut-dodecahedron", "edge", []string{"corner"}, puzzle.OBTM, 5, false, true},
		{"skewb", "centre", nil, puzzle.OBTM, 10, false, false},
	} {
		if c.large && testing.Short() {
			t.Skip("takes seconds")
		}
		q := question(t, c.puzzle, c.cycle, c.ignore, c.metric, c.max)
		q.Plain = c.plain
		all, plan := finish(t, q)
		classes, cycles := make([]int, c.max+1), make([]int, c.max+1)
		for _, candidate := range all {
			if candidate.Length <= c.max {
				classes[candidate.Length]++
				cycles[candidate.Length] += candidate.Size
			}
		}
		fmt.Fprintf(&out, "%s: %s, ignoring %v, %v%s\n", c.puzzle, c.cycle, c.ignore, c.metric, map[bool]string{true: ", plain"}[c.plain])
		fmt.Fprintf(&out, "%6s %22s %12s %8s %8s\n", "length", "words", "leaves", "classes", "cycles")
		for length := 1; length <= c.max; length++ {
			fmt.Fprintf(&out, "%6d %22v %12d %8d %8d\n", length, plan.Words(length), plan.Leaves(length), classes[length], cycles[length])
		}
		fmt.Fprintln(&out)
	}
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, []byte(out.String()), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, string(want), out.String())
}
