package group_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/group"
	"turnwright/search/puzzle"
)

// Standard generators; orders and basic orbits are those of GAP 4.12.1.
func TestMathieuGroups(t *testing.T) {
	m11 := []string{"(1,2,3,4,5,6,7,8,9,10,11)", "(3,7,11,8)(4,10,5,6)"}
	for _, c := range []struct {
		name       string
		degree     int
		generators []string
		order      int64
		orbits     []int
	}{
		{"M11", 11, m11, 7920, []int{11, 10, 9, 8}},
		{"M12", 12, append(m11, "(1,12)(2,11)(3,6)(4,8)(5,9)(7,10)"), 95040, []int{12, 11, 10, 9, 8}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var generators []puzzle.Perm
			for _, text := range c.generators {
				generators = append(generators, cycles(t, c.degree, text))
			}
			g, err := group.New(generators...)
			require.NoError(t, err)
			assert.Equal(t, c.order, g.Order().Int64())
			assert.Equal(t, c.orbits, g.BasicOrbits())
			assert.Len(t, g.Base(), len(c.orbits))
		})
	}
}
