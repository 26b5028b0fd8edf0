package structure_test

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/goal"
	"turnwright/search/isolate"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/structure"
)

func read(t testing.TB, name, text string, m puzzle.Metric) structure.Reading {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	turns, err := notation.ParseTurns(p, text)
	require.NoError(t, err)
	r, err := structure.Read(p, m, turns)
	require.NoError(t, err)
	return r
}

// The sequences are words that are known to be 3-cycles, or made for the case; the
// readings were checked by hand.
func TestRead(t *testing.T) {
	for _, c := range []struct{ puzzle, turns, text, words string }{
		{"3x3x3", "", "", "0 turns"},
		{"3x3x3", "R", "R", "1 turn"},
		{"3x3x3", "R U F", "R U F", "3 turns"},
		{"3x3x3", "R U R'", "[R: U]", "1 turn with a 1-turn setup"},
		{"3x3x3", "R U F U' R'", "[R U: F]", "1 turn with a 2-turn setup"},
		{"3x3x3", "R U R' U'", "[R, U]", "1-1 commutator"},
		{"3x3x3", "F R U R' U' F'", "[F: [R, U]]", "1-1 commutator with a 1-turn setup"},
		{"3x3x3", "R' D' R U R' D R U'", "[R' D' R, U]", "3-1 commutator"},
		{"3x3x3", "R D R' U R D' R' U'", "[R D R', U]", "3-1 commutator"},
		{"3x3x3", "U R' D' R U R' D R U2", "[U R' D' R, U]", "4-1 commutator"}, // made as [U: [R' D' R, U]]
		{"3x3x3", "R' F R' B2 R F' R' B2 R2", "[R': [F, R' B2 R]]", "1-3 commutator with a 1-turn setup"},
		{"3x3x3", "2.L' U2 2.L U2", "[2.R, U2]", "1-1 commutator"},
		{"3x3x3", "R' L F2 R L' U2", "[2.R, U2]", "1-1 commutator"}, // the same, as faces are turned
		{"3x3x3", "(R U R' U')^3", "[R, U]^3", "1-1 commutator, 3 times"},
		{"3x3x3", "F (R U R' U')^3 F2 U", "F [R, U]^3 F2 U", "1 turn, then 1-1 commutator, 3 times, then 2 turns"},
		{"3x3x3", "R U R' U' F2", "[R, U] F2", "1-1 commutator, then 1 turn"},
		{"3x3x3", "[F: [R, U]] L [U', F R F']", "[F: [R, U]] L [U', F R F']", "1-1 commutator with a 1-turn setup, then 1 turn, then 1-3 commutator"},
		{"3x3x3", "[R U: [[R' D' R, U2], F]]", "[R U: [[R' D' R, U2], F]]", "8-1 commutator whose first part is a 3-1 commutator, with a 2-turn setup"},
		{"vertex-cut-dodecahedron", "2.a c2^-2 a c2^2 2.a' c2^-2 a' c2^2", "[2.a, c2^-2 a c2^2]", "1-3 commutator"},
		{"vertex-cut-dodecahedron", "a^2 2.b1 a^-2 c3 a^2 2.b1' a^-2 c3'", "[a^2 2.b1 a^-2, c3]", "3-1 commutator"},
	} {
		r := read(t, c.puzzle, c.turns, puzzle.STM)
		assert.Equal(t, c.text, r.Text, c.turns)
		assert.Equal(t, c.words, r.Words, c.turns)
		assert.Equal(t, !strings.Contains(c.text, "["), r.Plain)
	}
}

// Parts are as long as the metric says.
func TestLengthsAreThoseOfTheMetric(t *testing.T) {
	assert.Equal(t, "2-2 commutator", read(t, "3x3x3", "[R2, U2]", puzzle.QTM).Words)
	r := read(t, "3x3x3", "[2.L', U2]", puzzle.OBTM)
	assert.Equal(t, "2-1 commutator", r.Words)
	assert.Equal(t, 6, r.Length) // as 6-checks has it of this word
	assert.Equal(t, 3, r.Written)
	assert.Equal(t, 1, r.Brackets)
	assert.Zero(t, r.Setup)
	r = read(t, "3x3x3", "[R2 U: [[R' D' R, U2], F]]", puzzle.QTM)
	assert.Equal(t, []int{9, 3, 3}, []int{r.Written, r.Brackets, r.Setup})
}

// A sequence beyond MaxTurns is given as it stands, one that is not is read.
func TestLongSequences(t *testing.T) {
	pair := strings.Repeat("R U F B D2 L ", 2)
	long := fmt.Sprintf("[%s, %s]", strings.Repeat(pair, 2), "D "+strings.Repeat("F2 R ", 4))
	r := read(t, "3x3x3", long, puzzle.OBTM)
	assert.True(t, r.Plain)
	short := read(t, "3x3x3", fmt.Sprintf("[%s, D]", pair), puzzle.OBTM)
	assert.False(t, short.Plain)
	assert.Equal(t, "12-1 commutator", short.Words)
}

func TestTurnsOfAnotherPuzzle(t *testing.T) {
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	for _, turn := range []puzzle.Turn{{Axis: 6, From: 1, To: 1, Amount: 1}, {Axis: -1, From: 1, To: 1}, {From: 0, To: 1}, {From: 2, To: 1}, {From: 1, To: 4}} {
		_, err := structure.Read(p, puzzle.OBTM, []puzzle.Turn{turn})
		assert.Error(t, err)
	}
}

// anyTurns draws turns of any blocks, often from few, so that much cancels and repeats.
func anyTurns(t *rapid.T, p *puzzle.Puzzle, most int) []puzzle.Turn {
	few := rapid.IntRange(1, len(p.Axes)).Draw(t, "axes")
	var out []puzzle.Turn
	for range rapid.IntRange(0, most).Draw(t, "turns") {
		axis := rapid.IntRange(0, few-1).Draw(t, "axis")
		l := p.Lines[p.Axes[axis].Line]
		from := rapid.IntRange(1, l.Layers).Draw(t, "from")
		out = append(out, puzzle.Turn{Axis: axis, From: from, To: rapid.IntRange(from, l.Layers).Draw(t, "to"), Amount: rapid.IntRange(-l.Steps, l.Steps).Draw(t, "amount")})
	}
	return out
}

// Whatever is read, it is the sequence: up to a rotation of the whole at the end it
// does the same to every sticker, and its text is read by package notation.
func TestReadingsAreTheSequence(t *testing.T) {
	names := []string{"3x3x3", "2x2x2", "4x4x4", "5x5x5", "vertex-cut-dodecahedron", "shallow-cut-dodecahedron", "pyraminx", "skewb", "edge-cube", "vertex-cut-icosahedron"}
	most := 30
	if testing.Short() {
		most = 12
	}
	rapid.Check(t, func(t *rapid.T) {
		p, err := puzzle.Find(rapid.SampledFrom(names).Draw(t, "puzzle"))
		require.NoError(t, err)
		m := rapid.SampledFrom(puzzle.Metrics()).Draw(t, "metric")
		turns := anyTurns(t, p, most)
		r, err := structure.Read(p, m, turns)
		require.NoError(t, err)
		again, err := notation.ParseTurns(p, r.Text)
		require.NoError(t, err)
		left := p.Apply(turns).Inverse().Then(p.Apply(again))
		rotation := slices.ContainsFunc(p.Symmetries[:p.Rotations], func(s puzzle.Symmetry) bool { return slices.Equal(left, s.Stickers) })
		require.True(t, rotation, "%s is not %s", r.Text, notation.Print(p, turns))
		repeat, err := structure.Read(p, m, turns)
		require.NoError(t, err)
		require.Equal(t, r, repeat)
	})
}

// Every commutator of two parts of one or two turns about two axes is read as one
// bracket with a commutator in it. The twin here is the list of all parts.
func TestShortCommutatorsAreRead(t *testing.T) {
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	parts := strings.Split("R R2 R' U U2 U'", " ")
	for _, a := range parts[:3] {
		for _, b := range parts[3:] {
			parts = append(parts, a+" "+b, b+" "+a)
		}
	}
	count := 0
	for _, x := range parts {
		for i, y := range parts {
			if testing.Short() && (len(x)+i)%12 > 0 {
				continue
			}
			made := fmt.Sprintf("[%s, %s]", x, y)
			turns, err := notation.ParseTurns(p, made)
			require.NoError(t, err)
			if turns = notation.Simplify(p, turns); len(turns) < 3 {
				continue
			}
			r, err := structure.Read(p, puzzle.OBTM, turns)
			require.NoError(t, err)
			require.True(t, readAs(r, false), "%s, as %s: %s", made, notation.Print(p, turns), r.Text)
			require.Less(t, r.Written, len(turns))
			count++
		}
	}
	require.Positive(t, count)
}

// What the search for commutators finds is read as such, though its turns are named
// as they come after cancelling.
func TestCandidatesAreRead(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds under the race detector")
	}
	for _, c := range []struct {
		puzzle, cycle string
		ignore        []string
		n, m          int
	}{
		{"vertex-cut-dodecahedron", "triangle", nil, 4, 1},
		{"vertex-cut-dodecahedron", "edge", []string{"centre", "triangle"}, 2, 1},
		{"3x3x3", "edge", []string{"corner"}, 2, 2},
		{"3x3x3", "corner", nil, 4, 1},
		{"2x2x2", "corner", nil, 3, 1},
	} {
		p, err := puzzle.Find(c.puzzle)
		require.NoError(t, err)
		g, err := goal.New(p, c.cycle, nil, c.ignore)
		require.NoError(t, err)
		b, err := isolate.New(p, g, puzzle.STM, isolate.Options{})
		require.NoError(t, err)
		list, err := b.Ranked(t.Context(), c.n, c.m, 60)
		require.NoError(t, err)
		require.NotEmpty(t, list)
		for _, f := range list {
			r, err := structure.Read(p, puzzle.STM, f.Turns)
			require.NoError(t, err)
			assert.True(t, readAs(r, false), "%s %s, as %s: %s", c.puzzle, f.Structure, f.Text, r.Text)
			assert.Equal(t, f.Length, r.Length)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add("R' D' R U R' D R U'")
	f.Add("[R U: [[R' D' R, U2], F]]")
	f.Add("x Rw2 U' x' (R U)^9")
	p, err := puzzle.Find("3x3x3")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, text string) {
		turns, err := notation.ParseTurns(p, text)
		if err != nil || len(turns) > 200 {
			return
		}
		_, err = structure.Read(p, puzzle.OBTM, turns)
		require.NoError(t, err)
	})
}

func TestTheSimplerReadingHasFewerTurnsAndBrackets(t *testing.T) {
	inOrder := []structure.Reading{
		{Written: 3, Brackets: 1},
		{Written: 4, Brackets: 1},
		{Written: 3, Brackets: 2, Setup: 1},
		{Written: 2, Brackets: 3, Setup: 2},
		{Written: 9, Brackets: 3},
		{Written: 1, Plain: true},
	}
	for i, x := range inOrder {
		for j, y := range inOrder {
			assert.Equal(t, cmp.Compare(i, j), cmp.Compare(x.Compare(y), 0), "%d and %d", i, j)
		}
	}
	assert.Zero(t, structure.Reading{Plain: true, Written: 8}.Compare(structure.Reading{Plain: true}))
}
