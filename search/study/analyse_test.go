package study

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

func analyse(t *testing.T, name, scramble, solution string) Analysis {
	t.Helper()
	s, err := Read(Question{Puzzle: find(t, name), Metric: puzzle.OBTM, Scramble: scramble, Solution: solution})
	require.NoError(t, err)
	a, err := s.Analyse()
	require.NoError(t, err)
	return a
}

// Stages follow from what stays at home; comments of the solver go first.
func TestStages(t *testing.T) {
	// Corners first: the last commutator undoes a cycle of edges, the first one of corners.
	a := analyse(t, "3x3x3", "", "[R' D' R, U] R' L F2 R L' U2")
	assert.True(t, a.Solves)
	assert.Len(t, a.Stages, 2)
	assert.Equal(t, []string{"corner"}, a.Stages[0].Finished)
	assert.Equal(t, []Gain{{"corner", 3}}, a.Stages[0].Gained)
	assert.Equal(t, 8, a.Stages[0].Cost)
	assert.Equal(t, "3-1 commutator", a.Stages[0].Words)
	assert.Equal(t, []string{"edge"}, a.Stages[1].Finished)
	for _, d := range a.Types {
		assert.Zero(t, d.Left)
		assert.Equal(t, map[string]int{"centre": 0, "corner": 8, "edge": 14}[d.Type], d.After, d.Type)
	}

	b := analyse(t, "3x3x3", "", "[R' D' R, U] // three corners\n// the rest\nR' L F2 R L' U2\n")
	assert.Equal(t, []string{"three corners", "the rest"}, []string{b.Stages[0].Name, b.Stages[1].Name})
	assert.True(t, b.Stages[0].Written)
	assert.Equal(t, 8, b.Stages[0].To)
	assert.Len(t, b.Stages, 2)
}

// What a solution leaves wrong is told.
func TestWhatIsLeft(t *testing.T) {
	a := analyse(t, "3x3x3", "U R' D' R U' R' D R", "x x'")
	assert.False(t, a.Solves)
	left := map[string]int{}
	for _, d := range a.Types {
		left[d.Type] = d.Left
	}
	assert.Equal(t, map[string]int{"centre": 0, "corner": 3, "edge": 0}, left)

	// Three corners are wrong to the end: no stage is said to have finished them.
	a = analyse(t, "3x3x3", "R' D' R U' R' D R U D' F U' R2 B' D L' F2", "F2 L D' B R2 U F' D")
	last := a.Stages[len(a.Stages)-1]
	assert.Contains(t, last.Name, "the last of edge")
	assert.NotContains(t, last.Name, "the last of corner")
	assert.Equal(t, []string{"edge"}, last.Finished)
}

func TestCancellations(t *testing.T) {
	a := analyse(t, "3x3x3", "", "(R U F) (F' U R') L R")
	c := a.Cancellations
	assert.Equal(t, 8, c.Written)
	assert.Equal(t, 3, c.Neighbour, "R U2 L are left")
	assert.Equal(t, c.Neighbour, c.Reordered)
	assert.Equal(t, "F F'", c.Places[0].Turns)
	assert.Empty(t, c.Places[0].Into)
	assert.Equal(t, 2, c.Places[0].Saves)

	m := analyse(t, "megaminx", "", "a d a'").Cancellations
	assert.Equal(t, []int{3, 1, 1}, []int{m.Written, m.Neighbour, m.Reordered})
}

func TestWhatCannotBeRead(t *testing.T) {
	p := find(t, "3x3x3")
	for _, c := range []struct{ scramble, solution, want string }{
		{"", "", "no turns"},
		{"", "R Q", "solution: "},
		{"R Q", "R", "scramble: "},
		{"", "(R U)^600", "1000"},
	} {
		_, err := Read(Question{Puzzle: p, Metric: puzzle.OBTM, Scramble: c.scramble, Solution: c.solution})
		assert.ErrorContains(t, err, c.want)
	}
}
