package notation

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/puzzle"
)

// The puzzles of the tests: letters with three, two, four and five layers, axis
// names with opposites and without, an axis without an outer far layer, and half turns.
var testPuzzles = []string{
	"3x3x3", "2x2x2", "cube-4", "cube-5", "vertex-cut-dodecahedron", "centre-cut-dodecahedron",
	"pyraminx", "edge-cube", "vertex-octahedron",
}

func find(t testing.TB, name string) *puzzle.Puzzle {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	return p
}

func turns(t testing.TB, p *puzzle.Puzzle, text string) []puzzle.Turn {
	t.Helper()
	out, err := ParseTurns(p, text)
	require.NoError(t, err, text)
	return out
}

// halfTurnCube is a cube whose faces turn by half a circle only.
func halfTurnCube(t testing.TB) *puzzle.Puzzle {
	t.Helper()
	p, err := puzzle.Build(puzzle.Definition{
		Name: "half-turn-cube", Solid: "cube",
		Axes: []puzzle.AxisGroup{{At: "faces", Steps: 2, Cuts: []string{"1/3"}}},
	})
	require.NoError(t, err)
	return p
}

func anyPuzzle(t *rapid.T) *puzzle.Puzzle {
	p, err := puzzle.Find(rapid.SampledFrom(testPuzzles).Draw(t, "puzzle"))
	require.NoError(t, err)
	return p
}

// anyTurn draws a turn with an amount of least size.
func anyTurn(t *rapid.T, p *puzzle.Puzzle) puzzle.Turn {
	turn := puzzle.Turn{Axis: rapid.IntRange(0, len(p.Axes)-1).Draw(t, "axis")}
	n := layers(p, turn)
	turn.From = rapid.IntRange(1, n).Draw(t, "from")
	turn.To = rapid.IntRange(turn.From, n).Draw(t, "to")
	turn.Amount = normal(rapid.IntRange(0, steps(p, turn)-1).Draw(t, "amount"), steps(p, turn))
	return turn
}

// anyTurns draws many turns on few lines, so that neighbours meet.
func anyTurns(t *rapid.T, p *puzzle.Puzzle) []puzzle.Turn {
	var out []puzzle.Turn
	for range rapid.IntRange(0, 12).Draw(t, "turns") {
		turn := anyTurn(t, p)
		if n := len(out); n > 0 && rapid.Bool().Draw(t, "same axis") {
			turn.Axis = out[n-1].Axis
			turn.From = min(turn.From, layers(p, turn))
			turn.To = min(turn.To, layers(p, turn))
			turn.Amount = normal(turn.Amount, steps(p, turn))
		}
		out = append(out, turn)
	}
	return out
}

// anyNodes draws a part of a tree: never empty, small once written out.
func anyNodes(t *rapid.T, p *puzzle.Puzzle, depth int) []Node {
	var out []Node
	for range rapid.IntRange(1, 3).Draw(t, "items") {
		if depth == 0 || rapid.IntRange(0, 2).Draw(t, "kind") == 0 {
			out = append(out, Node{Turn: anyTurn(t, p)})
			continue
		}
		g := &Group{
			Form:  Form(rapid.IntRange(0, 2).Draw(t, "form")),
			A:     anyNodes(t, p, depth-1),
			Power: rapid.IntRange(-2, 2).Draw(t, "power"),
		}
		if g.Form != Plain {
			g.B = anyNodes(t, p, depth-1)
		}
		out = append(out, Node{Group: g})
	}
	return out
}

func TestTreePrintsAndParsesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPuzzle(t)
		seq := Sequence{Puzzle: p, Items: anyNodes(t, p, 3)}
		again, err := Parse(p, seq.String())
		require.NoError(t, err, seq.String())
		require.Equal(t, seq, again, seq.String())

		want, err := seq.Expand()
		require.NoError(t, err)
		got, err := again.Expand()
		require.NoError(t, err)
		assert.Equal(t, want, got)
	})
}

func TestEmptySequence(t *testing.T) {
	p := find(t, "3x3x3")
	for _, text := range []string{"", " \n\t ", "// nothing\n", "// nothing"} {
		seq, err := Parse(p, text)
		require.NoError(t, err)
		assert.Equal(t, "", seq.String())
		assert.Empty(t, turns(t, p, text))
	}
	assert.Equal(t, "", Print(p, nil))
}

// Printed turns are the canonical ones, and do the same to every sticker.
func TestPrintParsesToCanonicalTurns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPuzzle(t)
		in := anyTurns(t, p)
		text := Print(p, in)
		out, err := ParseTurns(p, text)
		require.NoError(t, err, text)
		var canonical []puzzle.Turn
		for _, turn := range in {
			canonical = append(canonical, Canonical(p, turn))
		}
		require.ElementsMatch(t, canonical, out, text)
		assert.Equal(t, text, Print(p, out))
		assert.Equal(t, p.Apply(in), p.Apply(out), text)
	})
}

// slowly does a tree to the stickers straight from the meaning of its groups,
// with permutations in place of lists of turns.
func slowly(p *puzzle.Puzzle, nodes []Node) puzzle.Perm {
	out := p.Identity()
	for _, n := range nodes {
		if n.Group == nil {
			out = out.Then(p.TurnPerm(n.Turn))
			continue
		}
		g := n.Group
		a, b := slowly(p, g.A), slowly(p, g.B)
		once := a
		switch g.Form {
		case Commutator:
			once = a.Then(b).Then(a.Inverse()).Then(b.Inverse())
		case Conjugate:
			once = a.Then(b).Then(a.Inverse())
		}
		if g.Power < 0 {
			once = once.Inverse()
		}
		for range max(g.Power, -g.Power) {
			out = out.Then(once)
		}
	}
	return out
}

func TestExpandDoesWhatTheGroupsMean(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPuzzle(t)
		seq := Sequence{Puzzle: p, Items: anyNodes(t, p, 2)}
		out, err := seq.Expand()
		require.NoError(t, err)
		assert.Equal(t, slowly(p, seq.Items), p.Apply(out), seq.String())
		assert.Equal(t, DefaultLimits.count(seq.Items), len(out))
	})
}

func TestInvertUndoes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPuzzle(t)
		in := anyTurns(t, p)
		assert.True(t, p.Apply(append(in, Invert(in)...)).IsIdentity())
	})
}
