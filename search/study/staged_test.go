package study

import (
	"context"
	"math/rand/v2"
	"os"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
	"turnwright/search/stage"
)

// TestMeasureStaged prints by how much solutions of the staged solver are shortened in so many seconds
// as TURNWRIGHT_STAGED says, by two goroutines with a seed each.
func TestMeasureStaged(t *testing.T) {
	seconds, err := strconv.Atoi(os.Getenv("TURNWRIGHT_STAGED"))
	if err != nil {
		t.Skip("takes minutes: TURNWRIGHT_STAGED=60")
	}
	p, err := puzzle.Find("vertex-cut-dodecahedron")
	require.NoError(t, err)
	solver, err := stage.New(t.Context(), p, stage.Options{Metric: puzzle.STM})
	require.NoError(t, err)
	shop, err := NewWorkshop(t.Context(), p, puzzle.STM, Options{})
	require.NoError(t, err)
	for seed := range uint64(3) {
		rng := rand.New(rand.NewPCG(seed, 5))
		var scramble []puzzle.Turn
		for range 200 {
			axis := rng.IntN(len(p.Axes))
			line := p.Lines[p.Axes[axis].Line]
			layer := 1 + rng.IntN(line.Layers)
			scramble = append(scramble, puzzle.Turn{Axis: axis, From: layer, To: layer, Amount: 1 + rng.IntN(line.Steps-1)})
		}
		begun := time.Now()
		solution, err := solver.Solve(t.Context(), scramble)
		require.NoError(t, err)
		solved := time.Since(begun)
		one := Of(p, puzzle.STM, scramble, solution.Turns)
		require.True(t, one.Solves)
		ctx, stop := context.WithTimeout(t.Context(), time.Duration(seconds)*time.Second)
		var lengths [2]int
		var both sync.WaitGroup
		for i := range lengths {
			both.Go(func() {
				best, err := shop.Shorten(ctx, one, Budget{}, uint64(i), nil)
				if err != nil {
					t.Error(err)
				}
				lengths[i] = best.Length
			})
		}
		both.Wait()
		stop()
		length := min(lengths[0], lengths[1])
		t.Logf("seed %d: %d STM in %v, shortened to %d, %.1f %% less", seed, solution.Length, solved.Round(time.Millisecond), length, 100*float64(solution.Length-length)/float64(solution.Length))
	}
}
