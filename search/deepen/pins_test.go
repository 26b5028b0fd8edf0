package deepen_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/breadth"
	"turnwright/search/puzzle"
)

// A search with pins finds exactly the cycles of the slow twin that do what the
// pins ask, each at its least distance: on the 2x2x2 those of the corner too that
// the frame holds in its place.
func TestPinsAgainstBreadthFirstSearch(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	for _, c := range []struct {
		puzzle, cycle string
		ignore        []string
		metric        puzzle.Metric
		max           int
		large         bool
	}{
		{"3x3x3", "edge", []string{"corner"}, puzzle.OBTM, 4, false},
		{"3x3x3", "edge", nil, puzzle.STM, 4, false},
		{"edge-cube", "centre", []string{"corner"}, puzzle.OBTM, 6, false},
		{"3x3x3", "edge", []string{"centre", "corner"}, puzzle.STM, 4, true},
		{"skewb", "centre", []string{"corner-1", "corner-2"}, puzzle.OBTM, 5, false},
		{"tetrahedron", "edge", []string{"corner"}, puzzle.OBTM, 6, false},
		{"tetrahedron", "edge", nil, puzzle.OBTM, 8, true},
		{"2x2x2", "corner", nil, puzzle.OBTM, 8, true},
	} {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			if c.large && testing.Short() {
				t.Skip("takes seconds")
			}
			q := question(t, c.puzzle, c.cycle, c.ignore, c.metric, c.max)
			typ := &q.Puzzle.Types[q.Goal.Cycle]
			twin := everyChange(t, q.Puzzle, q.Goal, breadth.Moves(q.Puzzle, c.metric), c.max)
			require.NotEmpty(t, twin)
			found := 0
			for i := range 8 { // of all slots
				pinned := q
				from, to := 0, max(len(typ.Slots)*(i+1)/8-1, 0)
				if i%2 == 1 { // from there, not to there
					from, to = to, from
				}
				if pinned.Goal.Pin(q.Puzzle, typ.Labels[from], typ.Labels[to]) != nil {
					continue // a place to itself
				}
				want := map[string]int{}
				for name, change := range twin {
					if change.After(typ, from) == to {
						want[name] = change.distance
					}
				}
				all, plan := finish(t, pinned)
				got := map[string]int{}
				for _, candidate := range all {
					got[candidate.Change.String()] = candidate.Length
					assert.Equal(t, 1, candidate.Size)
				}
				require.Equal(t, want, got, "%s to %s", typ.Labels[from], typ.Labels[to])
				findings, cycles := plan.Answers()
				assert.Equal(t, findings, cycles)
				assert.LessOrEqual(t, len(all), findings)
				found += len(all)
			}
			assert.Positive(t, found)
		})
	}
}
