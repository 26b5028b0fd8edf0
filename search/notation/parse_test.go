package notation

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// Each text, how its tree prints, and how its turns print.
func TestParse(t *testing.T) {
	for _, c := range []struct{ puzzle, text, tree, flat string }{
		{"vertex-cut-dodecahedron", "a b3 b3^2 b3' b3^-2", "a b3 b3^2 b3' b3^-2", "a b3 b3^2 b3' b3^-2"},
		{"vertex-cut-dodecahedron", "b3^-1 b3^3 b3^4 b3^5 b3^6 b3^-4 b3^0", "b3' b3^-2 b3' b3^0 b3 b3 b3^0", "b3' b3^-2 b3' b3^0 b3 b3 b3^0"},
		{"vertex-cut-dodecahedron", "b3’", "b3'", "b3'"},
		{"vertex-cut-dodecahedron", "1.a 2.a 3.a 1-2.a 2-3.a 1-3.a all.a 1-1.a", "a 2.a 3.a 1-2.a 2-3.a all.a all.a a", "a 2.a d' 1-2.a 1-2.d' all.a all.a a"},
		{"vertex-cut-dodecahedron", "2.d all.d 3.d^2", "2.d all.d 3.d^2", "2.a' all.a' a^-2"},
		{"vertex-cut-dodecahedron", "a // up\n b1 // down", "a b1", "a b1"},
		{"vertex-cut-dodecahedron", "a//up\r\nb1", "a b1", "a b1"},
		{"vertex-cut-dodecahedron", "[a,b1]", "[a, b1]", "a b1 a' b1'"},
		{"vertex-cut-dodecahedron", "[ a : b1 ]", "[a: b1]", "a b1 a'"},
		{"vertex-cut-dodecahedron", "[a: [b1, c2 d]]", "[a: [b1, c2 d]]", "a b1 c2 d b1' d' c2' a'"},
		{"vertex-cut-dodecahedron", "(a b1^2)^2", "(a b1^2)^2", "a b1^2 a b1^2"},
		{"vertex-cut-dodecahedron", "(a b1^2)'", "(a b1^2)'", "b1^-2 a'"},
		{"vertex-cut-dodecahedron", "(a b1)^-2(c1)^1", "(a b1)^-2 (c1)", "b1' a' b1' a' c1"},
		{"vertex-cut-dodecahedron", "(a)^0", "(a)^0", ""},
		{"vertex-cut-dodecahedron", "[a, b1]'", "[a, b1]'", "b1 a b1' a'"},
		{"vertex-cut-dodecahedron", "[a: b1]^2", "[a: b1]^2", "a b1 a' a b1 a'"},
		{"pyraminx", "a 2.a 3.a all.a a^2", "a 2.a 3.a all.a a'", "a 2.a 3.a all.a a'"},
		{"3x3x3", "U R F D L B", "U R F D L B", "U R F D L B"},
		{"3x3x3", "R R2 R' R^2 R^-1 R^3 R^-2 R^4", "R R2 R' R2 R' R' R2 R^0", "R R2 R' R2 R' R' R2 R^0"},
		{"3x3x3", "Rw Rw2 Rw' 2Rw Lw Rw^-1", "Rw Rw2 Rw' Rw Lw Rw'", "Rw Rw2 Rw' Rw Lw Rw'"},
		{"3x3x3", "x x2 x' y y2 y' z z2 z'", "x x2 x' y y2 y' z z2 z'", "x x2 x' y y2 y' z z2 z'"},
		{"3x3x3", "2.R 2.R2 2.R' 2.L 2.D 2.F all.R all.L 3.R 1-2.R 2-3.R", "2.R 2.R2 2.R' 2.L 2.D 2.F x all.L 3.R Rw 2-3.R", "2.R 2.R2 2.R' 2.R' 2.U' 2.F x x' L' Rw Lw'"},
		{"3x3x3", "[R: U2] 2.R(U)", "[R: U2] 2.R (U)", "R U2 R' 2.R U"},
		{"3x3x3", "(R U R' U')^2", "(R U R' U')^2", "R U R' U' R U R' U'"},
		{"cube-4", "Rw 2Rw 3Rw 3Rw2 2.L 3.L 2-3.L", "Rw Rw 3Rw 3Rw2 2.L 3.L 2-3.L", "Rw Rw 3Rw 3Rw2 2.L 2.R' 2-3.R'"},
		{"cube-5", "2Rw 3Rw' 4Rw2 3.L 2-4.D 4.R 2-5.B", "Rw 3Rw' 4Rw2 3.L 2-4.D 4.R 2-5.B", "Rw 3Rw' 4Rw2 3.R' 2-4.U' 2.L' 4Fw'"},
		{"2x2x2", "R U2 F' 2.R x", "R U2 F' 2.R x", "R U2 F' L' x"},
		{"edge-cube", "a1 a1^2 a1'", "a1 a1^0 a1", "a1 a1^0 a1"},
	} {
		p := find(t, c.puzzle)
		seq, err := Parse(p, c.text)
		if !assert.NoError(t, err, c.text) {
			continue
		}
		assert.Equal(t, c.tree, seq.String(), c.text)
		flat, err := seq.Expand()
		require.NoError(t, err)
		assert.Equal(t, c.flat, Print(p, flat), c.text)
	}
}

// Letters count quarter turns on a cube that has half turns only.
func TestHalfTurnCube(t *testing.T) {
	p := halfTurnCube(t)
	in := turns(t, p, "R2 2.U2 x2 Fw2 R^-2")
	assert.Equal(t, 1, in[0].Amount)
	assert.Equal(t, "R2 2.U2 x2 Fw2 R2", Print(p, in))
	_, err := Parse(p, "R2 U")
	assert.EqualError(t, err, "line 1, column 4: this puzzle has no quarter turns: write U2")
}

func TestMissingAxis(t *testing.T) {
	p, err := puzzle.Build(puzzle.Definition{
		Name: "one-axis-cube", Solid: "cube",
		Axes: []puzzle.AxisGroup{{At: "faces", Only: []string{"D"}, Cuts: []string{"1/3"}}},
	})
	require.NoError(t, err)
	_, err = Parse(p, "R")
	assert.EqualError(t, err, "line 1, column 1: this puzzle has no axis R: it has D")
	assert.Equal(t, "D all.D2 2.D'", Print(p, turns(t, p, "D all.D2 2.D'")))
}

func TestParseErrors(t *testing.T) {
	const demo, cube = "vertex-cut-dodecahedron", "3x3x3"
	names := "the axes are a b1 b2 b3 b4 b5 c1 c2 c3 c4 c5 d"
	for _, c := range []struct {
		puzzle, text         string
		offset, line, column int
		msg                  string
	}{
		{demo, "q", 0, 1, 1, `there is no axis "q": ` + names},
		{demo, "a  b6", 3, 1, 4, `there is no axis "b6": ` + names},
		{demo, "a\nB1", 2, 2, 1, `there is no axis "B1": write b1`},
		{demo, "// ünï\n a b32", 12, 2, 4, `there is no axis "b32": write b3^2 for the amount; ` + names},
		{demo, "a2", 0, 1, 1, `there is no axis "a2": write a^2 for the amount; ` + names},
		{demo, "ab1", 0, 1, 1, `there is no axis "ab1": ` + names},
		{demo, "b3 ^2", 3, 1, 4, "an axis is missing here: " + names},
		{demo, "2.", 2, 1, 3, "an axis is missing here: " + names},
		{demo, strings.Repeat("a", 30), 0, 1, 1, `there is no axis "aaaaaaaaaaaaaaaaaaaa…": ` + names},
		{demo, "0.a", 0, 1, 1, `"0" names no layers: write a number, a range such as 1-2, or all, before the point`},
		{demo, "1-.a", 0, 1, 1, `"1-" names no layers: write a number, a range such as 1-2, or all, before the point`},
		{demo, "01.a", 0, 1, 1, `"01" names no layers: write a number, a range such as 1-2, or all, before the point`},
		{demo, "ALL.a", 0, 1, 1, `"ALL" names no layers: write a number, a range such as 1-2, or all, before the point`},
		{demo, "1.2.a", 2, 1, 3, `there is no axis "2.a": ` + names},
		{demo, "4.a", 0, 1, 1, "there is no layer 4: this axis has layers 1 to 3"},
		{demo, "99999999999999999999.a", 0, 1, 1, "there is no layer 999999: this axis has layers 1 to 3"},
		{demo, "3-2.a", 0, 1, 1, "the layers run backwards: write 2-3"},
		{demo, "a^", 1, 1, 2, `"^" is no exponent: write ' for the inverse, or ^ and one whole number, as in ^2 or ^-2`},
		{demo, "a'2", 1, 1, 2, `"'2" is no exponent: write ' for the inverse, or ^ and one whole number, as in ^2 or ^-2`},
		{demo, "a^+2", 1, 1, 2, `"^+2" is no exponent: write ' for the inverse, or ^ and one whole number, as in ^2 or ^-2`},
		{demo, "(a)^2^2", 3, 1, 4, `"^2^2" is no exponent: write ' for the inverse, or ^ and one whole number, as in ^2 or ^-2`},
		{demo, "a^-99999999999999999", 1, 1, 2, "the exponent is beyond 100000: lower it"},
		{demo, "a^100001", 1, 1, 2, "the exponent is beyond 100000: lower it"},
		{demo, "(a)^99999999999999999999", 3, 1, 4, "the exponent is beyond 100000: lower it"},
		{demo, "(a)2", 3, 1, 4, "the exponent of a group has a ^ before it: write ^2"},
		{demo, "(a)b1", 3, 1, 4, `put a space between the group and "b1"`},
		{demo, "a (b1", 2, 1, 3, "this ( is never closed: add a )"},
		{demo, "a [b1, c1", 2, 1, 3, "this [ is never closed: add a ]"},
		{demo, "a [b1", 2, 1, 3, "this [ is never closed: write [A, B] or [A: B]"},
		{demo, "(a [b1, c1)", 10, 1, 11, `')' does not close the [ before it: write ]`},
		{demo, "(a]", 2, 1, 3, `']' does not close the ( before it: write )`},
		{demo, "(a, b1)", 2, 1, 3, `',' belongs between the parts of a square bracket: write [A, B] or [A: B]`},
		{demo, "a)", 1, 1, 2, "nothing was opened that this ) could close: take it away"},
		{demo, "a ]", 2, 1, 3, "nothing was opened that this ] could close: take it away"},
		{demo, "a: b1", 1, 1, 2, `':' belongs between the parts of a square bracket: write [A, B] or [A: B]`},
		{demo, "[a b1]", 5, 1, 6, "a square bracket has two parts: write [A, B] for A B A' B', or [A: B] for A B A'"},
		{demo, "[a, b1, c1]", 6, 1, 7, "a square bracket has only two parts: nest one in the other, as in [A, [B, C]]"},
		{demo, "()", 1, 1, 2, "there is nothing here: write a turn, or take the brackets away"},
		{demo, "[a, ]", 4, 1, 5, "there is nothing here: write a turn, or take the brackets away"},
		{demo, "a \x00", 2, 1, 3, `there is no axis "\x00": ` + names},
		{demo, "a \xff", 2, 1, 3, "the text is not UTF-8 here: save it as UTF-8"},
		{cube, "M", 0, 1, 1, "M is not in WCA 12a: write 2.L"},
		{cube, "E2", 0, 1, 1, "E is not in WCA 12a: write 2.D"},
		{cube, "S'", 0, 1, 1, "S is not in WCA 12a: write 2.F"},
		{"cube-5", "M", 0, 1, 1, "M is not in WCA 12a: write 3.L"},
		{"cube-4", "M", 0, 1, 1, "M is not in WCA 12a: name the layer, as in 2.L"},
		{cube, "r", 0, 1, 1, "r is not in WCA 12a: write Rw for the outer two layers, or 2.R for the second alone"},
		{cube, "2r", 1, 1, 2, "r is not in WCA 12a: write Rw for the outer two layers, or 2.R for the second alone"},
		{"2x2x2", "r", 0, 1, 1, "r is not in WCA 12a: write R"},
		{cube, "X", 0, 1, 1, "X is not in WCA 12a: rotations of the whole cube are written small, x"},
		{cube, "T", 0, 1, 1, `"T" is no turn: the turns are U R F D L B, and x y z for the whole cube`},
		{cube, "é", 0, 1, 1, `"é" is no turn: the turns are U R F D L B, and x y z for the whole cube`},
		{cube, "12", 0, 1, 1, "a letter is missing here: the turns are U R F D L B, and x y z for the whole cube"},
		{cube, "R U2'", 3, 1, 4, "half a turn is the same both ways: write U2"},
		{cube, "R3", 1, 1, 2, "three quarters are one the other way: write R'"},
		{cube, "R1", 1, 1, 2, "one quarter is the letter alone: write R"},
		{cube, "Ri", 1, 1, 2, "the inverse has an apostrophe: write R'"},
		{cube, "RU", 1, 1, 2, `"U" may not follow R: an amount is 2, ' or an exponent such as ^-1, and a space comes before the next turn`},
		{cube, "R2^2", 1, 1, 2, `"2^2" may not follow R: an amount is 2, ' or an exponent such as ^-1, and a space comes before the next turn`},
		{cube, "2R", 0, 1, 1, "a number before R counts the layers of a block: write 2Rw for the outer ones together, or 2.R for one alone"},
		{cube, "1Rw", 0, 1, 1, "a block has at least two layers: write R"},
		{cube, "3Rw", 0, 1, 1, "the number before Rw goes from 2 to 2 here (WCA 12a2): write all.R for the whole cube"},
		{cube, "02Rw", 0, 1, 1, "the number before Rw goes from 2 to 2 here (WCA 12a2): write all.R for the whole cube"},
		{"2x2x2", "Rw", 0, 1, 1, "a block of a cube of 2 layers is one layer or all of it: write R"},
		{cube, "2.Rw", 0, 1, 1, "layers are named either before a point or by w, not both: write 1-2.R or Rw"},
		{cube, "2x", 0, 1, 1, "x turns the whole cube, so it takes no layers: write x alone"},
		{cube, "xw", 0, 1, 1, "x turns the whole cube, so it takes no layers: write x alone"},
		{cube, "all.y", 0, 1, 1, "y turns the whole cube, so it takes no layers: write y alone"},
		{cube, "4.R", 0, 1, 1, "there is no layer 4: this axis has layers 1 to 3"},
	} {
		_, err := Parse(find(t, c.puzzle), c.text)
		assert.Equal(t, &Error{Offset: c.offset, Line: c.line, Column: c.column, Msg: c.msg}, err, c.text)
	}
}

func TestHostileTexts(t *testing.T) {
	p := find(t, "vertex-cut-dodecahedron")
	deep := func(n int) string { return strings.Repeat("(", n) + "a" + strings.Repeat(")", n) }
	for _, c := range []struct{ name, text, want string }{
		{"towers of exponents", "((((a)^9999)^9999)^9999)", "line 1, column 3: from here on the sequence has more than 100000 turns"},
		{"one turn too many", "(a)^100000 a", "line 1, column 12: from here on the sequence has more than 100000 turns"},
		{"doubling", strings.Repeat("[a, ", 20) + "b1" + strings.Repeat("]", 20), "has more than 100000 turns"},
		{"a group done no times", "((a b1)^99999)^0", "line 1, column 2: from here on the sequence has more than 100000 turns"},
		{"plain length", strings.Repeat("a ", 100_001), "line 1, column 200001: from here on"},
		{"too deep", deep(65), "line 1, column 65: groups nest more than 64 deep here"},
		{"far too deep", strings.Repeat("(", 1<<20), "line 1, column 65: groups nest more than 64 deep here"},
		{"too long", strings.Repeat(" ", 1<<20+1), "line 1, column 1: the text has 1048577 bytes, which is more than 1048576"},
	} {
		_, err := Parse(p, c.text)
		require.Error(t, err, c.name)
		assert.Contains(t, err.Error(), c.want, c.name)
		assert.True(t, errors.As(err, new(*Error)), c.name)
	}
	for _, text := range []string{deep(64), "(a)^100000", "(a)^-100000", strings.Repeat(" ", 1<<20)} {
		_, err := Parse(p, text)
		assert.NoError(t, err)
	}
}

// A tree from elsewhere is bounded when it is written out.
func TestExpandIsBounded(t *testing.T) {
	p := find(t, "vertex-cut-dodecahedron")
	for _, power := range []int{1 << 40, -1 << 40, math.MaxInt, math.MinInt} {
		tower := Node{Turn: turns(t, p, "a")[0]}
		for range 10 {
			tower = Node{Group: &Group{A: []Node{tower}, Power: power}}
		}
		_, err := Sequence{Puzzle: p, Items: []Node{tower}}.Expand()
		assert.EqualError(t, err, "the sequence has more than 100000 turns once it is written out: shorten it")
	}

	small := Limits{Depth: 2, Turns: 4, Bytes: 100}
	seq, err := small.Parse(p, "(a b1)^2")
	require.NoError(t, err)
	out, err := small.Expand(seq)
	require.NoError(t, err)
	assert.Len(t, out, 4)
}
