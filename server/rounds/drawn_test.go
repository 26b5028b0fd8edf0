package rounds_test

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/scramble"
	"turnwright/server/rounds"
)

// Whether positions are drawn or words stand in: the same seed makes the same, more attempts
// only add to it, and another seed or round makes others.
func TestScramblesFollowFromTheSeed(t *testing.T) {
	const small = "centre-cut-octahedron" // all of its positions are few
	d := &rounds.Drawn{}
	seed, other := strings.Repeat("5e", 32), strings.Repeat("5f", 32)
	for _, name := range []string{small, "4x4x4", "vertex-cut-dodecahedron"} {
		if testing.Short() && name == "vertex-cut-dodecahedron" {
			continue // the order of its group takes seconds each time under the race detector
		}
		p, err := puzzle.Find(name)
		require.NoError(t, err)
		make := func(seed, round string, attempts int) []string {
			made, way, err := d.Scrambles(t.Context(), p, scramble.Newest, seed, round, attempts)
			require.NoError(t, err)
			assert.Len(t, made, attempts)
			assert.Equal(t, name == small, strings.HasPrefix(way, "a uniformly"), way)
			for _, text := range made {
				turns, err := notation.ParseTurns(p, text)
				require.NoError(t, err)
				assert.False(t, p.Solved(p.Apply(turns)))
			}
			return made
		}
		two := make(seed, "spring", 2)
		assert.NotEqual(t, two[0], two[1])
		assert.Equal(t, two, make(seed, "spring", 3)[:2])
		assert.Equal(t, two, func() []string {
			again, _, err := (&rounds.Drawn{}).Scrambles(t.Context(), p, scramble.Newest, seed, "spring", 2)
			require.NoError(t, err)
			return again
		}(), "another process makes them again")
		assert.NotEqual(t, two, make(other, "spring", 2))
		assert.NotEqual(t, two, make(seed, "summer", 2))
	}
	for _, way := range []int{scramble.Unnumbered, scramble.Newest} {
		assert.NotEqual(t, d.Commit(seed, way), d.Commit(other, way))
		assert.NotContains(t, d.Commit(seed, way), "5e5e5e")
	}
	assert.NotEqual(t, d.Commit(seed, scramble.Unnumbered), d.Commit(seed, scramble.Newest))
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	_, _, err = d.Scrambles(ended, p, scramble.Newest, seed, "spring", 1)
	require.ErrorIs(t, err, context.Canceled)
}
