package notation

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/puzzle"
)

func TestSimplify(t *testing.T) {
	for _, c := range []struct{ puzzle, in, out string }{
		{"3x3x3", "R R", "R2"},
		{"3x3x3", "R R2 R", ""},
		{"3x3x3", "R L R'", "L"},
		{"3x3x3", "R L' R", "R2 L'"},
		{"3x3x3", "R U U' R'", ""},
		{"3x3x3", "F R L L' R' F", "F2"},
		{"3x3x3", "R L'", "R L'"},
		{"3x3x3", "R U R'", "R U R'"},
		{"3x3x3", "R^4 U", "U"},
		{"3x3x3", "2.R R", "Rw"},
		{"3x3x3", "Rw R'", "2.R"},
		{"3x3x3", "R 2.R L'", "x"},
		{"3x3x3", "x R'", "Lw'"},
		{"3x3x3", "x x", "x2"},
		{"3x3x3", "x R x'", "R"},
		{"3x3x3", "x U x'", "x U x'"},
		{"3x3x3", "Rw L", "Rw L"},
		{"3x3x3", "Rw L'", "x"},
		{"3x3x3", "R 3.R'", "R L"},
		{"cube-4", "R2 2.R2 3.R2", "3Rw2"},
		{"cube-4", "3Rw Rw'", "2.L'"},
		{"cube-5", "2-4.R 3.R'", "2-4.R 3.R'"},
		{"vertex-cut-dodecahedron", "a^2 a^2", "a'"},
		{"vertex-cut-dodecahedron", "a d a^-2", "a' d"},
		{"vertex-cut-dodecahedron", "a 2.a d'", "all.a"},
		{"pyraminx", "a 2.a a'", "2.a"},
		{"pyraminx", "a b1 b1' a", "a'"},
	} {
		p := find(t, c.puzzle)
		out := Simplify(p, turns(t, p, c.in))
		assert.Equal(t, c.out, Print(p, out), c.in)
	}
}

func TestSimplifyKeepsTheEffectAndNeverLengthens(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPuzzle(t)
		in := anyTurns(t, p)
		out := Simplify(p, in)
		require.Equal(t, p.Apply(in), p.Apply(out), Print(p, in))
		for _, m := range puzzle.Metrics() {
			assert.LessOrEqual(t, Length(p, m, out), Length(p, m, in), "%s: %s", m, Print(p, in))
		}
		assert.Equal(t, out, Simplify(p, out), Print(p, in))
		for _, turn := range out {
			assert.NotZero(t, turn.Amount)
		}
	})
}

func TestSimplifyUndoesWhatIsUndone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPuzzle(t)
		in := Simplify(p, anyTurns(t, p))
		assert.Empty(t, Simplify(p, append(in, Invert(in)...)), Print(p, in))
	})
}

// Lengths by WCA 12a5 and 12a6, and by the trade's STM and QTM.
func TestLength(t *testing.T) {
	for _, c := range []struct {
		puzzle, text        string
		obtm, stm, qtm, etm int
	}{
		{"3x3x3", "", 0, 0, 0, 0},
		{"3x3x3", "R U2 Rw' x", 3, 3, 4, 4},
		{"3x3x3", "2.R 2.R2 x2", 4, 2, 6, 3},
		{"3x3x3", "R R'", 2, 2, 2, 2},
		{"3x3x3", "[2.L': U2]", 5, 3, 6, 3},
		{"vertex-cut-dodecahedron", "a b1^2 2.c1^-2 all.d", 4, 3, 7, 4},
	} {
		p := find(t, c.puzzle)
		in := turns(t, p, c.text)
		for m, want := range map[puzzle.Metric]int{puzzle.OBTM: c.obtm, puzzle.STM: c.stm, puzzle.QTM: c.qtm, puzzle.ETM: c.etm} {
			assert.Equal(t, want, Length(p, m, in), "%s in %s", c.text, m)
		}
	}
}
