package study

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// On a puzzle of many pieces a stretch that moves few of those that a key tells apart has the keys of
// very many words. It takes no more than its share of a unit, and none of what the budget does not have.
func TestAStretchWithTheKeyOfManyWords(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	p, err := puzzle.Find("7x7x7")
	require.NoError(t, err)
	w, err := NewWorkshop(t.Context(), p, puzzle.OBTM, Options{Memory: 16 << 20})
	require.NoError(t, err)
	turns, err := notation.ParseTurns(p, "3.R 3.U 4.F 3.R' 5.U 3.U' 4.F' 5.U'")
	require.NoError(t, err)
	word, err := w.spell(turns, 0)
	require.NoError(t, err)
	ways := func(budget uint64) (*shortener, *ways) {
		s := &shortener{finder: w.finder(), ctx: t.Context(), budget: Budget{Leaves: budget}, known: map[string]*ways{}, bestCost: math.MaxInt}
		return s, s.waysOf(word, mostEffort)
	}
	s, found := ways(0)
	assert.Less(t, s.tried, 2*maxTried)
	assert.True(t, found.every, "it is not looked up again")
	s, found = ways(200_000)
	assert.Less(t, s.leaves, uint64(300_000))
	assert.False(t, found.every, "it may be looked up again")
}
