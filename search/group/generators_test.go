package group_test

import (
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// frame is one step of every layer but the reference ones: the whole never rotates.
func frame(p *puzzle.Puzzle) []puzzle.Perm {
	var steps []puzzle.Perm
	for _, line := range p.Lines {
		for layer, step := range line.Step {
			if layer != line.Reference {
				steps = append(steps, step)
			}
		}
	}
	return steps
}

// outer is one step of the outermost layer at every axis, as a person turns it.
func outer(p *puzzle.Puzzle) []puzzle.Perm {
	var steps []puzzle.Perm
	for axis := range p.Axes {
		steps = append(steps, p.TurnPerm(puzzle.Turn{Axis: axis, From: 1, To: 1, Amount: 1}))
	}
	return steps
}

func find(t *testing.T, name string) *puzzle.Puzzle {
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	return p
}

// cycles reads disjoint cycles of points counted from 1, as printed in books: (1,3)(7,18).
func cycles(t *testing.T, degree int, text string) puzzle.Perm {
	p := identity(degree)
	for cycle := range strings.SplitSeq(strings.Trim(text, "()"), ")(") {
		var points []uint16
		for number := range strings.SplitSeq(cycle, ",") {
			x, err := strconv.Atoi(number)
			require.NoError(t, err, text)
			require.Equal(t, uint16(x-1), p[x-1], "%s has %d twice", text, x)
			points = append(points, uint16(x-1))
		}
		for i, x := range points {
			p[x] = points[(i+1)%len(points)]
		}
	}
	return p
}

func identity(degree int) puzzle.Perm {
	p := make(puzzle.Perm, degree)
	for x := range p {
		p[x] = uint16(x)
	}
	return p
}
