package isolate_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/catalog"
	"turnwright/search/goal"
	"turnwright/search/isolate"
	"turnwright/search/puzzle"
)

// TestStructuredSearchIsThatOfAllCarriedOut holds a job with nesting and setups against
// every [X, Y], [[X, Y], Z], [S: [X, Y]] and [S: [[X, Y], Z]] of parts of one
// turn, carried out in full: the classes, and the shortest of each.
func TestStructuredSearchIsThatOfAllCarriedOut(t *testing.T) {
	for _, c := range []struct {
		puzzle, cycle string
		ignore        []string
		metric        puzzle.Metric
		setup         int
		long          bool
	}{
		{"3x3x3", "edge", []string{"corner"}, puzzle.STM, 1, true},
		{"3x3x3", "edge", nil, puzzle.STM, 1, true},
		{"3x3x3", "edge", []string{"corner", "centre"}, puzzle.OBTM, 1, true},
		{"tetrahedron", "edge", []string{"corner"}, puzzle.STM, 2, true},
		{"tetrahedron", "edge", nil, puzzle.STM, 1, false},
	} {
		t.Run(fmt.Sprintf("%s %s %v %v", c.puzzle, c.cycle, c.ignore, c.metric), func(t *testing.T) {
			if c.long && testing.Short() {
				t.Skip("takes seconds")
			}
			b, p, g := bench(t, c.puzzle, c.cycle, c.ignore, c.metric, isolate.Options{})
			plan, err := b.Plan(isolate.Job{X: 1, Y: 1, Z: 1, Setup: c.setup})
			require.NoError(t, err)
			got := map[int]int{}
			for _, f := range runAll(t, plan, plan.Units()) {
				got[f.Class] = f.Length
			}
			want := twin{p, g, c.metric, map[string]uint64{}}.structured(t, c.setup)
			assert.NotEmpty(t, want)
			assert.Equal(t, want, got)
		})
	}
}

// structured gives the shortest length by class. It sets up only what leaves the whole
// as it was: where that has been rotated, undoing a setup goes about other axes.
func (w twin) structured(t *testing.T, setup int) map[int]int {
	classes, err := catalog.Enumerate(w.p, w.g)
	require.NoError(t, err)
	shortest := map[int]int{}
	offer := func(turns []puzzle.Turn) {
		change, err := goal.Check(w.p, w.g, turns)
		if err != nil {
			return
		}
		class := classes.ClassOf(goal.Cycle(change.Cycles(&w.p.Types[w.g.Cycle])[0]))
		length := 0
		word, _ := w.p.ToFrame(turns)
		for _, s := range word {
			length += w.p.SyllableCost(w.m, s)
		}
		if old, ok := shortest[class]; !ok || length < old {
			shortest[class] = length
		}
	}
	setups := w.parts(1, false)
	for n := 2; n <= setup; n++ {
		setups = append(setups, w.parts(n, false)...)
	}
	all := func(turns []puzzle.Turn) {
		perm := w.p.Apply(turns)
		if !w.mayMeet(perm) {
			return
		}
		offer(turns)
		if _, ok := goal.Judge(w.p, w.g, perm); ok {
			for _, s := range setups {
				offer(slices.Concat(s, turns, puzzle.Invert(s)))
			}
		}
	}
	ones := w.parts(1, false)
	for _, x := range ones {
		if w.weight(x) == 0 {
			continue
		}
		for _, y := range ones {
			xy := slices.Concat(x, y, puzzle.Invert(x), puzzle.Invert(y))
			all(xy)
			for _, z := range ones {
				all(slices.Concat(xy, z, puzzle.Invert(xy), puzzle.Invert(z)))
			}
		}
	}
	return shortest
}
