package stage

import (
	"context"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// TestMeasureShorten prints by how much solutions of the demo puzzle are shortened by two goroutines in so many
// seconds as TURNWRIGHT_STAGED says.
func TestMeasureShorten(t *testing.T) {
	seconds, err := strconv.Atoi(os.Getenv("TURNWRIGHT_STAGED"))
	if err != nil {
		t.Skip("takes minutes: TURNWRIGHT_STAGED=60")
	}
	p, err := puzzle.Find("vertex-cut-dodecahedron")
	require.NoError(t, err)
	for _, metric := range []puzzle.Metric{puzzle.STM, puzzle.OBTM} {
		s, err := New(t.Context(), p, Options{Metric: metric, Workers: 2})
		require.NoError(t, err)
		for seed := range uint64(3) {
			turns := scramble(p, rand.New(rand.NewPCG(seed, 7)))
			begun := time.Now()
			first, err := s.Solve(t.Context(), turns)
			require.NoError(t, err)
			took := time.Since(begun)
			ctx, stop := context.WithTimeout(t.Context(), time.Duration(seconds)*time.Second)
			length := first.Length
			require.NoError(t, s.Shorten(ctx, turns, length, func(next *Solution) error {
				checked(t, p, metric, turns, next)
				length = next.Length
				t.Logf("%d after %v", length, time.Since(begun).Round(time.Millisecond))
				return nil
			}))
			stop()
			t.Logf("seed %d: %d %s in %v, shortened to %d, %.1f %% less", seed, first.Length, metric, took.Round(time.Millisecond),
				length, 100*float64(first.Length-length)/float64(first.Length))
		}
	}
}
