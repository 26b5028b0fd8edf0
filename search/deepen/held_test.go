package deepen_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/deepen"
	"turnwright/search/puzzle"
)

// Where the type of the piece is ignored that the frame of a puzzle holds, the
// search holds another one. On the skewb the commutator a1 a3 a1' a3' cycles
// three centres with corner-2 kept, and moves every piece of corner-1: with the
// frame held by one of these it would never be found.
func TestIgnoredPiecesDoNotHoldTheFrame(t *testing.T) {
	for _, c := range []struct {
		puzzle, cycle string
		ignore        []string
		max           int
		holds         string // type of the piece that the search holds
	}{
		{"skewb", "centre", []string{"corner-1"}, 6, "corner-2"},
		{"skewb", "centre", []string{"corner-2"}, 6, "corner-1"},
		{"skewb", "centre", nil, 8, "corner-1"},
		{"skewb", "corner-2", []string{"corner-1", "centre"}, 6, "corner-2"},
		{"skewb", "centre", []string{"corner-1", "corner-2"}, 5, "corner-1"}, // no piece tells how the whole is turned
		{"2x2x2", "corner", nil, 8, "corner"},
		{"4x4x4", "wing", []string{"corner"}, 3, "centre"},
		{"4x4x4", "centre", []string{"corner", "wing"}, 3, "centre"},
		{"centre-cut-octahedron", "centre-1", []string{"corner", "centre-2"}, 4, "corner"},
		{"centre-cut-dodecahedron", "centre", []string{"corner"}, 3, "corner"},
		{"centre-cut-dodecahedron", "corner", []string{"centre"}, 3, "corner"},
	} {
		t.Run(fmt.Sprint(c.puzzle, c.cycle, c.ignore), func(t *testing.T) {
			q := question(t, c.puzzle, c.cycle, c.ignore, puzzle.OBTM, c.max)
			plan, err := deepen.NewPlan(q)
			require.NoError(t, err)
			p := plan.Question.Puzzle
			require.GreaterOrEqual(t, p.Anchor, 0)
			assert.Equal(t, c.holds, p.Types[p.Pieces[p.Anchor].Type].Name)
			for _, l := range plan.Alphabet.Letters {
				for _, x := range p.Pieces[p.Anchor].Stickers {
					require.EqualValues(t, x, p.SyllablePerm(l.Syllable)[x], "the frame is at rest")
				}
			}
		})
	}
}

// A limit, written down: where all pieces that are not ignored look the same after
// some rotation of the whole, none tells how it is turned. Of the five classes of
// centres of the centre-cut dodecahedron, corners ignored, two can be cycled in
// four turns, and the search finds one.
func TestWhereNoPieceTellsHowTheWholeIsTurned(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	q := question(t, "centre-cut-dodecahedron", "centre", []string{"corner"}, puzzle.OBTM, 4)
	assert.Len(t, bySlowTwin(t, q.Puzzle, q.Goal, q.Metric, q.Max).lengths, 2)
	all, _ := finish(t, q)
	found := 0
	for _, candidate := range all {
		if candidate.Length <= q.Max {
			found++
		}
	}
	assert.Equal(t, 1, found)
}
