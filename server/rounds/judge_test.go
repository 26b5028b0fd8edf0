package rounds_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
	"turnwright/server/rounds"
	"turnwright/storage"
)

// Solutions of R U, by the WCA Regulations (text of 1 January 2024), each by its number.
func TestSolutionsAreJudgedToTheLetter(t *testing.T) {
	for _, c := range []struct {
		what, puzzle, solution string
		notation               bool
		length                 int
		reason, rule           string
	}{
		{"E2d: the length is OBTM's", "3x3x3", "U' R'", false, 2, "", ""},
		{"12a5: a rotation counts nothing", "3x3x3", "y U' F'", false, 2, "", ""},
		{"12a5: a rotation counts nothing, but turns the rest", "3x3x3", "y U' B'", false, 0, "NOT_SOLVED", "E2c5"},
		{"10c: any orientation in the end", "3x3x3", "U' R' x y2", false, 2, "", ""},
		{"E2c5: not solved", "3x3x3", "U' R", false, 0, "NOT_SOLVED", "E2c5"},
		{"E2c4: brackets", "3x3x3", "(U' R')", false, 0, "NOTATION", "E2c4"},
		{"E2c4: a comment", "3x3x3", "U' R' // done", false, 0, "NOTATION", "E2c4"},
		{"nothing", "3x3x3", " ", false, 0, "NOTATION", "E2c4"},
		{"E2d1: more than 8 turns here, rotations too", "3x3x3", "x x' x x' y y' U' R' U U'", false, 0, "TOO_LONG", "E2d1"},
		{"brackets where they are allowed", "3x3x3", "(U' R') // done", true, 2, "", ""},
		{"another puzzle has no article", "tetrahedron", "b1", false, 0, "NOT_SOLVED", ""},
	} {
		p, err := puzzle.Find(c.puzzle)
		require.NoError(t, err)
		r := storage.Round{ID: "spring", Metric: puzzle.OBTM.String(), Notation: c.notation, MaxLength: 8}
		scramble := map[string]string{"3x3x3": "R U", "tetrahedron": "a"}[c.puzzle]
		v, err := rounds.Letter{}.Judge(p, r, scramble, c.solution)
		require.NoError(t, err, c.what)
		if c.reason == "" {
			assert.Nil(t, v.DNF, c.what)
			assert.Equal(t, c.length, v.Length, c.what)
			continue
		}
		require.NotNil(t, v.DNF, c.what)
		assert.Zero(t, v.Length, c.what)
		assert.Equal(t, c.reason, v.DNF.Reason, c.what)
		assert.Equal(t, c.rule, v.DNF.Rule, c.what)
		assert.NotEmpty(t, v.DNF.Text, c.what)
		if c.reason == "NOT_SOLVED" {
			assert.NotEmpty(t, v.DNF.Left, c.what)
		}
	}
}
