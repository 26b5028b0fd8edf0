package isolate

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/goal"
	"turnwright/search/puzzle"
)

// However finely words are cut by their beginnings, the same are walked, each once, and
// below each beginning as many as were counted.
func TestWordsHoweverCut(t *testing.T) {
	for _, c := range []struct {
		puzzle, cycle string
		most          int
	}{{"3x3x3", "corner", 3}, {"tetrahedron", "edge", 4}} {
		p, err := puzzle.Find(c.puzzle)
		require.NoError(t, err)
		g, err := goal.New(p, c.cycle, nil, nil)
		require.NoError(t, err)
		b, err := New(p, g, puzzle.STM, Options{})
		require.NoError(t, err)
		w, err := b.words(c.most)
		require.NoError(t, err)
		counter := counter{w, c.most, map[rest]uint64{}}
		whole := map[string]bool{}
		for _, large := range []uint64{1 << 40, 40, 1} {
			prefixes := counter.prefixes(large)
			seen := map[string]bool{}
			for _, start := range prefixes {
				n := uint64(0)
				w.walk(start, c.most, func(p prefix, _ *part) bool {
					text := fmt.Sprint(p.letters)
					require.False(t, seen[text])
					seen[text] = true
					n++
					return true
				})
				require.Equal(t, counter.count(start), n)
				require.True(t, n <= large || start.whole)
			}
			assert.EqualValues(t, counter.total(), len(seen))
			if len(whole) == 0 {
				whole = seen
			}
			assert.Equal(t, whole, seen)
		}
	}
}
