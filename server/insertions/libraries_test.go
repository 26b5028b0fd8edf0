package insertions

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/server/coverage"
)

// known is the table of a sequence for corners of the 3x3x3.
func known(t *testing.T, text string) *coverage.Known {
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	g, err := goal.New(p, "corner", nil, nil)
	require.NoError(t, err)
	turns, err := notation.ParseTurns(p, text)
	require.NoError(t, err)
	ask := coverage.NewAsk(p, g, puzzle.OBTM, v1.Core_CORE_UNSPECIFIED, 1)
	k, err := coverage.NewTables(nil).Of(t.Context(), ask, "sequences", [][]puzzle.Turn{turns})
	require.NoError(t, err)
	return k
}

func TestALibraryIsMadeOnceForItsTables(t *testing.T) {
	l := libraries{turn: make(chan struct{}, 1)}
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	get := func(k *coverage.Known) any {
		lib, err := l.get(t.Context(), p, puzzle.OBTM, []*coverage.Known{k})
		require.NoError(t, err)
		return lib
	}
	// Three corners: common practice.
	a, b, c := known(t, "R' D' R U' R' D R U"), known(t, "R' D2 R U R' D2 R U'"), known(t, "R' D' R U2 R' D R U2")
	first := get(a)
	assert.Same(t, first, get(a))
	second := get(b)
	assert.NotSame(t, first, second)
	assert.Same(t, first, get(a))
	get(c)
	assert.Len(t, l.kept, maxKept)
	assert.Same(t, first, get(a))
	assert.NotSame(t, second, get(b), "it was not used for longest")

	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = l.get(ctx, p, puzzle.OBTM, []*coverage.Known{c})
	assert.ErrorIs(t, err, context.Canceled)
}

func TestHowManySequencesOfEachClassAreTried(t *testing.T) {
	for _, c := range []struct {
		puzzle, cycle string
		want          int
	}{
		{"2x2x2", "corner", 16},
		{"3x3x3", "edge", 16},
		{"vertex-cut-dodecahedron", "triangle", 5}, // 68,440 cycles
	} {
		p, err := puzzle.Find(c.puzzle)
		require.NoError(t, err)
		i, ok := p.TypeByName(c.cycle)
		require.True(t, ok)
		assert.Equal(t, c.want, perClass(&p.Types[i]))
	}
	assert.Equal(t, 1, perClass(&puzzle.Type{Pieces: make([]int, 300), Orientations: 1}))
	assert.Equal(t, maxPerClass, perClass(&puzzle.Type{Pieces: make([]int, 1), Orientations: 1}))
}
