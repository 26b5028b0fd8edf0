package deepen_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// Nothing visible marks the core of the vertex-cut dodecahedron: turns of the
// frame can turn all pieces against it, like a rotation of the whole puzzle. With
// the core kept, a sequence that makes a cycle and such a rotation at once does not
// count. Up to 9 turns there is none that would make a class shorter: the puzzle
// held by an edge, where all of them count, gives the same.
func TestNoShortCycleHidesBehindATurnOfTheCore(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	q := question(t, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, long(9, 8))
	require.True(t, q.KeepCore)
	kept, _ := finish(t, q)
	q.KeepCore = false
	free, plan := finish(t, q)
	require.GreaterOrEqual(t, plan.Question.Puzzle.Anchor, 0)
	require.Len(t, kept, long(24+53, 24))
	require.Len(t, free, len(kept))
	for class, c := range kept {
		assert.Equal(t, c.Length, free[class].Length)
	}
}
