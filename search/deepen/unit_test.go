package deepen

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/goal"
	"turnwright/search/puzzle"
)

// Units are numbered through, pass by pass, cover every prefix once in each and
// are as many as an estimate says.
func TestUnitsFollowOneAnother(t *testing.T) {
	p, err := puzzle.Find("2x2x2")
	require.NoError(t, err)
	g, err := goal.New(p, "corner", nil, nil) // nothing is protected: a pass for each of four blocks
	require.NoError(t, err)
	plan, err := NewPlan(Question{Puzzle: p, Goal: g, Metric: puzzle.STM, Max: 14})
	require.NoError(t, err)
	require.Len(t, plan.Tables(), 4)
	for length := 1; length <= 14; length++ {
		units := plan.Units(length)
		assert.Equal(t, len(units), plan.CountUnits(length))
		pass, next, leaves := 0, 0, uint64(0)
		for i, u := range units {
			if u.Pass != pass {
				pass, next = pass+1, 0
			}
			require.Equal(t, Unit{Length: length, Index: i, Pass: pass, First: next, Last: u.Last, Leaves: u.Leaves}, u)
			require.Greater(t, u.Last, u.First)
			next = u.Last
			leaves += u.Leaves
		}
		assert.Equal(t, plan.Leaves(length), leaves, "length %d", length)
	}
}
