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

// Where all pieces that are not ignored look the same after some rotation of the
// whole, none tells how it is turned, and the search tries every rotation. Two of the
// five classes of centres of the centre-cut dodecahedron, corners ignored, can be
// cycled in four turns.
func TestWhereNoPieceTellsHowTheWholeIsTurned(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	q := question(t, "centre-cut-dodecahedron", "centre", []string{"corner"}, puzzle.OBTM, 4)
	twin := bySlowTwin(t, q.Puzzle, q.Goal, q.Metric, q.Max).lengths
	assert.Len(t, twin, 2)
	all, _ := finish(t, q)
	lengths := map[uint64]int{}
	for class, candidate := range all {
		lengths[class] = candidate.Length
	}
	assert.Equal(t, twin, lengths)
}

// Whether a search has to say what it does about the core.
func TestPuzzlesThatHideTheirCore(t *testing.T) {
	for _, c := range []struct {
		puzzle, cycle string
		ignore        []string
		hides         bool
	}{
		{"vertex-cut-dodecahedron", "triangle", nil, true},
		{"face-cut-dodecahedron", "edge", nil, true},
		{"vertex-cube", "edge", nil, true},
		{"3x3x3", "edge", nil, false},
		{"3x3x3", "edge", []string{"corner"}, false},
		{"3x3x3", "edge", []string{"centre"}, true},
		{"tetrahedron", "edge", nil, false},
		{"tetrahedron", "edge", []string{"corner"}, true},
		{"2x2x2", "corner", nil, false}, // it has no core
		{"skewb", "centre", []string{"corner-1", "corner-2"}, false},
	} {
		q := question(t, c.puzzle, c.cycle, c.ignore, puzzle.STM, 3)
		assert.Equal(t, c.hides, deepen.HidesCore(q.Puzzle, q.Goal), "%s %s %v", c.puzzle, c.cycle, c.ignore)
	}
}
