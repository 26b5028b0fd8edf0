package puzzle_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// What turns cost. OBTM and ETM are WCA Regulations 12a5 (a face or an outer
// block 1, a rotation 0) and 12a6 (each of them 1); the rest is the trade's
// common use. An inner block can't be written in 12a: it takes two blocks.
func TestCost(t *testing.T) {
	for _, c := range []struct {
		name                string
		puzzle, axis        string
		from, to, amount    int
		obtm, stm, qtm, etm int
	}{
		{"R, 12a1", "3x3x3", "R", 1, 1, 1, 1, 1, 1, 1},
		{"R', 12a1", "3x3x3", "R", 1, 1, -1, 1, 1, 1, 1},
		{"R2, 12a1", "3x3x3", "R", 1, 1, 2, 1, 1, 2, 1},
		{"Rw, 12a2", "3x3x3", "R", 1, 2, 1, 1, 1, 1, 1},
		{"Rw2, 12a2", "3x3x3", "R", 1, 2, 2, 1, 1, 2, 1},
		{"the slice beside R", "3x3x3", "R", 2, 2, 1, 2, 1, 2, 1},
		{"the slice beside R, twice", "3x3x3", "R", 2, 2, 2, 2, 1, 4, 1},
		{"the layer opposite R", "3x3x3", "R", 3, 3, 1, 1, 1, 1, 1},
		{"x, 12a4", "3x3x3", "R", 1, 3, 1, 0, 0, 0, 1},
		{"x2, 12a4", "3x3x3", "R", 1, 3, 2, 0, 0, 0, 1},
		{"no turn", "3x3x3", "R", 1, 1, 0, 0, 0, 0, 0},
		{"a full circle", "3x3x3", "R", 1, 1, 4, 0, 0, 0, 0},
		{"a full circle of the whole", "3x3x3", "R", 1, 3, -4, 0, 0, 0, 0},
		{"three quarters", "3x3x3", "R", 1, 1, 3, 1, 1, 1, 1},
		{"Uw, 12a2", "4x4x4", "U", 1, 2, 1, 1, 1, 1, 1},
		{"3Uw, 12a2", "4x4x4", "U", 1, 3, 1, 1, 1, 1, 1},
		{"the second layer", "4x4x4", "U", 2, 2, 1, 2, 1, 2, 1},
		{"both inner layers", "4x4x4", "U", 2, 3, 2, 2, 1, 4, 1},
		{"all but U", "4x4x4", "U", 2, 4, 1, 1, 1, 1, 1},
		{"y, 12a4", "4x4x4", "U", 1, 4, 1, 0, 0, 0, 1},
		{"4Fw2, 12a2", "5x5x5", "F", 1, 4, 2, 1, 1, 2, 1},
		{"the middle layer", "5x5x5", "F", 3, 3, 1, 2, 1, 2, 1},
		{"the three inner layers", "5x5x5", "F", 2, 4, -1, 2, 1, 2, 1},
		{"z', 12a4", "5x5x5", "F", 1, 5, -1, 0, 0, 0, 1},
		{"two steps of five", "megaminx", "b3", 1, 1, 2, 1, 1, 2, 1},
		{"three steps of five are two back", "megaminx", "b3", 1, 1, 3, 1, 1, 2, 1},
		{"two steps of a middle layer", "megaminx", "b3", 2, 2, 2, 2, 1, 4, 1},
		{"one step of half a puzzle", "skewb", "a1", 1, 1, -1, 1, 1, 1, 1},
		{"half turns only", "edge-cube", "a1", 1, 1, 1, 1, 1, 1, 1},
	} {
		t.Run(c.puzzle+" "+c.name, func(t *testing.T) {
			p, err := puzzle.Find(c.puzzle)
			require.NoError(t, err)
			turn := on(p, c.axis, c.from, c.to, c.amount)
			for m, want := range map[puzzle.Metric]int{puzzle.OBTM: c.obtm, puzzle.STM: c.stm, puzzle.QTM: c.qtm, puzzle.ETM: c.etm} {
				assert.Equal(t, want, p.Cost(m, turn), "%s", m)
			}
		})
	}
}

func TestMetricNames(t *testing.T) {
	for _, m := range puzzle.Metrics() {
		parsed, err := puzzle.ParseMetric(m.String())
		require.NoError(t, err)
		assert.Equal(t, m, parsed)
	}
	parsed, err := puzzle.ParseMetric("OBTM")
	require.NoError(t, err)
	assert.Equal(t, puzzle.OBTM, parsed)
	_, err = puzzle.ParseMetric("htm")
	assert.EqualError(t, err, `unknown metric "htm": use obtm, stm, qtm or etm`)
	assert.Equal(t, "metric(9)", puzzle.Metric(9).String())
}
