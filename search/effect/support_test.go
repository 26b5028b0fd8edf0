package effect

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/puzzle"
)

// A support has exactly the pieces that the effect reports as moved.
func TestSupportAgreesWithDescribe(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := find(t, rapid.SampledFrom(testPuzzles).Draw(t, "puzzle"))
		in := anyTurns(t, p)
		e := Describe(p, in)
		if e.Rotation != "" {
			return // the support then is that of the pieces in the room
		}
		s := SupportOf(p, p.Apply(in))
		assert.Equal(t, e.Moved, s.Len())
		for i, ty := range e.Types {
			want := map[int]bool{}
			for _, c := range append(ty.Cycles, ty.Twisted...) {
				for _, slot := range c.Slots {
					want[p.Types[i].Place[slot]] = true
				}
			}
			assert.Len(t, s[i].Pieces(), ty.Moved)
			for j := range ty.Pieces {
				assert.Equal(t, want[j], s[i].Has(j))
			}
			for _, j := range s[i].Pieces() {
				assert.True(t, want[j])
			}
		}
	})
}

func TestSets(t *testing.T) {
	a, b := Set{1 << 3, 1<<2 | 1<<63}, Set{1<<3 | 1<<4, 1 << 63}
	assert.Equal(t, []int{3, 66, 127}, a.Pieces())
	assert.Equal(t, 3, a.Len())
	assert.Equal(t, 2, a.Common(b))
	assert.True(t, a.Has(127))
	assert.False(t, a.Has(4))
	assert.Equal(t, 5, Support{a, {1}, {1 << 5}}.Len())
	assert.Equal(t, 3, Support{a, {1}}.Common(Support{b, {3}}))
	assert.Empty(t, Set{0}.Pieces())
}

// The lemma on commutators (any text on permutation groups): where the supports
// of X and Y meet in exactly one point, [X, Y] is a 3-cycle. Here the points
// are pieces, the X are words A B A', and the Y single turns of one axis.
func TestSupportsThatMeetInOnePieceMakeThreeCycles(t *testing.T) {
	for _, name := range []string{"3x3x3", "2x2x2", "pyraminx", "vertex-cut-dodecahedron"} {
		p := find(t, name)
		isolated := 0
		blocks := blockTurns(p)
		for _, y := range blocks {
			if y.Axis != 0 || y.Amount != 1 {
				continue
			}
			isolated += checkLemma(t, p, blocks, y)
		}
		assert.Positive(t, isolated, name)
	}
}

// checkLemma returns how many words A B A' isolate a piece for y.
func checkLemma(t *testing.T, p *puzzle.Puzzle, blocks []puzzle.Turn, y puzzle.Turn) int {
	isolated := 0
	ys := []puzzle.Turn{y}
	support := SupportOf(p, p.Apply(ys))
	for _, a := range blocks {
		for _, b := range blocks {
			x := []puzzle.Turn{a, b, a}
			x[2].Amount = -a.Amount
			piece, ok := onlyCommon(SupportOf(p, p.Apply(x)), support)
			if !ok || twists(p, x, piece) || twists(p, ys, piece) {
				continue
			}
			isolated++
			e := Describe(p, slices.Concat(x, ys, puzzle.Invert(x), puzzle.Invert(ys)))
			require.Equal(t, map[string]shape{p.Types[piece[0]].Name: {{3, 0}: 1}}, shapes(e))
		}
	}
	return isolated
}

// blockTurns lists the turns of every block but the whole.
func blockTurns(p *puzzle.Puzzle) []puzzle.Turn {
	var out []puzzle.Turn
	for axis, a := range p.Axes {
		line := p.Lines[a.Line]
		for from := 1; from <= line.Layers && !a.Far; from++ {
			for to := from; to <= line.Layers && to-from < line.Layers-1; to++ {
				for amount := 1; amount < line.Steps; amount++ {
					out = append(out, puzzle.Turn{Axis: axis, From: from, To: to, Amount: amount})
				}
			}
		}
	}
	return out
}

// onlyCommon is the type and number of the one piece that two supports share, if it is one.
func onlyCommon(a, b Support) (piece [2]int, ok bool) {
	if a.Common(b) != 1 {
		return piece, false
	}
	for i := range a {
		for _, j := range a[i].Pieces() {
			if b[i].Has(j) {
				piece = [2]int{i, j}
			}
		}
	}
	return piece, true
}

// twists tells whether the turns leave a piece at its place.
func twists(p *puzzle.Puzzle, turns []puzzle.Turn, piece [2]int) bool {
	id := p.Types[piece[0]].Pieces[piece[1]]
	x := p.Apply(turns)[p.Pieces[id].Stickers[0]]
	return p.Stickers[x].Piece == id
}
