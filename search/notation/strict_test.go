package notation

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// All of WCA 12a1 to 12a4, text of 1 January 2024, on cubes of 2 to 7 layers.
func TestStrict12aTakesAllOf12a(t *testing.T) {
	for name, blocks := range map[string][]string{
		"2x2x2": {""}, "3x3x3": {"", "w", "2w"}, "cube-4": {"", "w", "2w", "3w"}, "cube-5": {"", "w", "2w", "3w", "4w"},
		"cube-6": {"", "w", "5w"}, "cube-7": {"", "w", "6w"},
	} {
		p := find(t, name)
		var words []string
		for _, amount := range []string{"", "2", "'"} {
			for _, face := range "FBRLUD" {
				for _, block := range blocks {
					count, wide, _ := strings.Cut(block, "w")
					if block != "" {
						wide = "w"
					}
					words = append(words, count+string(face)+wide+amount)
				}
			}
			for _, axis := range "xyz" {
				words = append(words, string(axis)+amount)
			}
		}
		text := strings.Join(words, " ")
		got, err := Strict12a(p, text)
		require.NoError(t, err, name)
		assert.Equal(t, turns(t, p, text), got)
		// What 12a can say prints as 12a, with n left out where it is 2.
		assert.Equal(t, strings.NewReplacer("2F", "F", "2B", "B", "2R", "R", "2L", "L", "2U", "U", "2D", "D").Replace(text), Print(p, got))
	}
}

// Guideline E2c4+ lists these as not permitted in a solution of the 3x3x3.
func TestStrict12aRefusesWhatE2c4Names(t *testing.T) {
	p := find(t, "3x3x3")
	for _, word := range []string{
		"M", "e", "r", "Y", "T", "U1", "Ui", "U3", "U-", "R++", "R2'", "R'2", "L'w", "1R", "2U", "2f", "2-3r",
		"1Rw", "3Rw", "2-3Rw", "rw", "Rr", "*", "[r]", "[F]", "[x]", "(x)", "(L)", "2(Rw)", "(U)2", "(U)'", "(R U)'",
		"[R, U]", "[R: U]",
	} {
		_, err := Strict12a(p, "R2\nU' "+word+" F")
		var at *Error
		if assert.True(t, errors.As(err, &at), word) {
			assert.Equal(t, 2, at.Line, word)
			assert.GreaterOrEqual(t, at.Offset, len("R2\nU' "), word)
			assert.Less(t, at.Offset, len("R2\nU' "+word), word)
		}
	}
}

// The parser's own additions are no part of 12a either.
func TestStrict12aRefusesTheRestOfTheGrammar(t *testing.T) {
	p := find(t, "3x3x3")
	for _, word := range []string{"2.R", "all.R", "1-2.R", "R^2", "R^-1", "(R)", "(R)^2", "//", "R//", "R,", "R2’2"} {
		_, err := Strict12a(p, word)
		assert.Error(t, err, word)
	}
	got, err := Strict12a(p, "\tR’ \r\n U ")
	require.NoError(t, err)
	assert.Equal(t, "R' U", Print(p, got))
	got, err = Strict12a(p, "")
	require.NoError(t, err)
	assert.Empty(t, got)

	_, err = Strict12a(p, "Rw w")
	assert.ErrorContains(t, err, "line 1, column 4:")
	_, err = Strict12a(find(t, "vertex-cut-dodecahedron"), "a")
	assert.EqualError(t, err, "line 1, column 1: WCA 12a has no moves for vertex-cut-dodecahedron: only cubes turned about their faces have them")
	_, err = Strict12a(p, strings.Repeat("R ", 100_001))
	assert.ErrorContains(t, err, "there are more than 100000 moves")
	_, err = Strict12a(p, "R \xff")
	assert.ErrorContains(t, err, "column 3: the text is not UTF-8")
}

// WCA 12a4: x as R, y as U, z as F.
func TestRotationsFollowTheirFaces(t *testing.T) {
	for _, name := range []string{"2x2x2", "3x3x3", "cube-4"} {
		p := find(t, name)
		for rotation, face := range map[string]string{"x": "all.R", "y": "all.U", "z": "all.F"} {
			assert.Equal(t, turns(t, p, face), turns(t, p, rotation))
		}
	}
	// On the 3x3x3 a rotation is its face, the middle layer with it, and the far face the other way.
	p := find(t, "3x3x3")
	for rotation, layers := range map[string]string{"x": "R 2.R L'", "y": "U 2.U D'", "z": "F 2.F B'"} {
		assert.Equal(t, p.Apply(turns(t, p, layers)), p.Apply(turns(t, p, rotation)))
	}
	// x carries the upper side to the back; what is done about the upper side's place after it, and
	// x undone, is done about what was in front.
	assert.Equal(t, p.Apply(turns(t, p, "z")), p.Apply(turns(t, p, "x y x'")))
}
