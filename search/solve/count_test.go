package solve

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// What is counted is what is listed.
func TestCountBeginnings(t *testing.T) {
	for _, name := range []string{"2x2x2", "3x3x3", "vertex-cut-dodecahedron"} {
		for _, metric := range []puzzle.Metric{puzzle.OBTM, puzzle.QTM, puzzle.STM} {
			t.Run(fmt.Sprint(name, " ", metric), func(t *testing.T) {
				p, err := puzzle.Find(name)
				require.NoError(t, err)
				plan, err := NewPlan(Question{Puzzle: p, Metric: metric, Max: 8, Memory: 1 << 18})
				require.NoError(t, err)
				for cost := 0; cost <= 2; cost++ {
					for most := range 4 {
						assert.Equal(t, len(plan.beginnings(cost, most)), plan.countBeginnings(cost, most), "%d, at most %d", cost, most)
					}
				}
			})
		}
	}
}
