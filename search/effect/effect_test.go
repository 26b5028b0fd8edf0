package effect

import (
	"math/big"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

var testPuzzles = []string{
	"3x3x3", "2x2x2", "cube-4", "cube-5", "vertex-cut-dodecahedron", "shallow-cut-dodecahedron", "centre-cut-dodecahedron",
	"pyraminx", "skewb", "edge-cube", "vertex-octahedron", "centre-cut-octahedron",
}

func find(t require.TestingT, name string) *puzzle.Puzzle {
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	return p
}

func turns(t require.TestingT, p *puzzle.Puzzle, text string) []puzzle.Turn {
	out, err := notation.ParseTurns(p, text)
	require.NoError(t, err, text)
	return out
}

func describe(t require.TestingT, p *puzzle.Puzzle, text string) Effect {
	return Describe(p, turns(t, p, text))
}

// shape counts the cycles of a type by length, twists in place as length 1, and
// those that leave a twist apart from those that do not.
type shape map[[2]int]int

func shapes(e Effect) map[string]shape {
	out := map[string]shape{}
	for _, ty := range e.Types {
		for _, c := range append(ty.Cycles, ty.Twisted...) {
			if out[ty.Type] == nil {
				out[ty.Type] = shape{}
			}
			twist := 0
			if c.Twist != nil {
				twist = c.Twist.Order
			}
			out[ty.Type][[2]int{c.Length, twist}]++
		}
	}
	return out
}

// slowly does the turns one step of one layer at a time, moving each sticker by hand:
// at[x] is which sticker is now at x.
func slowly(p *puzzle.Puzzle, turns []puzzle.Turn) []int {
	at := make([]int, len(p.Stickers))
	for x := range at {
		at[x] = x
	}
	for _, t := range turns {
		axis := p.Axes[t.Axis]
		line := p.Lines[axis.Line]
		for layer := t.From; layer <= t.To; layer++ {
			k, amount := layer-1, t.Amount
			if axis.Far {
				k, amount = line.Layers-layer, -t.Amount
			}
			for amount < 0 {
				amount += line.Steps
			}
			for ; amount > 0; amount-- {
				moved := make([]int, len(at))
				for x, sticker := range at {
					moved[line.Step[k][x]] = sticker
				}
				at = moved
			}
		}
	}
	return at
}

// rebuild makes the stickers' places from nothing but what an effect says.
func rebuild(t require.TestingT, p *puzzle.Puzzle, e Effect) []int {
	perm := p.Identity()
	for i, ty := range e.Types {
		slots := p.Types[i].Slots
		for _, c := range append(ty.Cycles, ty.Twisted...) {
			for j, s := range c.Slots {
				to := c.Slots[(j+1)%c.Length]
				if j == c.Length-1 && c.Twist != nil {
					to = c.Twist.Slot
				}
				for k, x := range slots[s] {
					perm[x] = slots[to][k]
				}
			}
		}
	}
	perm = perm.Then(p.Apply(turns(t, p, e.Rotation)))
	at := make([]int, len(perm))
	for x, y := range perm {
		at[y] = x
	}
	return at
}

// anyTurns draws turns of all kinds, whole-puzzle ones among them.
func anyTurns(t *rapid.T, p *puzzle.Puzzle) []puzzle.Turn {
	var out []puzzle.Turn
	for range rapid.IntRange(0, 8).Draw(t, "turns") {
		turn := puzzle.Turn{Axis: rapid.IntRange(0, len(p.Axes)-1).Draw(t, "axis")}
		line := p.Lines[p.Axes[turn.Axis].Line]
		turn.From = rapid.IntRange(1, line.Layers).Draw(t, "from")
		turn.To = rapid.IntRange(turn.From, line.Layers).Draw(t, "to")
		turn.Amount = rapid.IntRange(-line.Steps, line.Steps).Draw(t, "amount")
		out = append(out, turn)
	}
	return out
}

// An effect tells all: doing its cycles, twists and rotation is doing the turns.
func TestDescribeTellsAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := find(t, rapid.SampledFrom(testPuzzles).Draw(t, "puzzle"))
		in := anyTurns(t, p)
		e := Describe(p, in)
		require.Equal(t, slowly(p, in), rebuild(t, p, e), notation.Print(p, in))
		moved := 0
		for _, ty := range e.Types {
			inCycles := 0
			for _, c := range append(ty.Cycles, ty.Twisted...) {
				assert.Len(t, c.Slots, c.Length)
				assert.Len(t, c.Labels, c.Length)
				inCycles += c.Length
			}
			assert.Equal(t, ty.Moved, inCycles)
			assert.LessOrEqual(t, ty.Moved, ty.Pieces)
			moved += ty.Moved
		}
		assert.Equal(t, e.Moved, moved)
		assert.LessOrEqual(t, e.Moved, SupportOf(p, p.Apply(in)).Len())
	})
}

// The orders are those that repeating by hand shows, and those that the cycles and twists add up to.
func TestOrdersByRepeating(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := find(t, rapid.SampledFrom([]string{"2x2x2", "3x3x3", "pyraminx", "skewb"}).Draw(t, "puzzle"))
		in := anyTurns(t, p)
		e := Describe(p, in)

		whole := p.Apply(in)
		repeats, state := 1, whole
		for ; !state.IsIdentity(); repeats++ {
			state = state.Then(whole)
		}
		assert.Equal(t, big.NewInt(int64(repeats)), e.Repeats)

		lcm := 1
		for _, ty := range e.Types {
			for _, c := range append(ty.Cycles, ty.Twisted...) {
				n := c.Length
				if c.Twist != nil {
					n *= c.Twist.Order
				}
				a, b := lcm, n
				for b != 0 {
					a, b = b, a%b
				}
				lcm = lcm / a * n
			}
		}
		assert.Equal(t, big.NewInt(int64(lcm)), e.Order)
	})
}

func TestRotationLeftOver(t *testing.T) {
	for _, c := range []struct {
		puzzle, text, rotation string
		moved                  int
	}{
		{"3x3x3", "", "", 0},
		{"3x3x3", "x", "x", 0},
		{"3x3x3", "all.L2", "x2", 0},
		{"3x3x3", "x y z", "y z2", 0}, // both carry U to D, F to R and R to F, by hand
		{"3x3x3", "Rw", "x", 8},
		{"3x3x3", "Rw2 U", "x2", 13},
		{"3x3x3", "2.L", "", 8},
		{"3x3x3", "2.L2 2.D2", "", 12},
		{"3x3x3", "R L'", "", 16},
		{"2x2x2", "R L'", "x", 0},
		{"2x2x2", "R", "", 4}, // R or L is as many pieces as the other with a rotation: none is taken off
		{"2x2x2", "L", "", 4},
		{"cube-4", "3Rw", "x", 16},
		{"cube-4", "3Lw", "x'", 16},
		{"cube-4", "3Rw U 3Rw'", "", 16},
		{"cube-4", "3Rw 3Uw", "y z", 28},  // as x y: U to R, F to U, R to F, by hand
		{"cube-4", "3Lw 3Dw", "y' z", 28}, // as x' y': U to R, F to D, R to B
		{"cube-4", "Rw", "", 28},
		{"vertex-cut-dodecahedron", "all.d", "all.a'", 0},
		{"vertex-cut-dodecahedron", "1-2.a^2", "all.a^2", 40},
		{"vertex-cut-dodecahedron", "2.a", "", 20},
	} {
		e := describe(t, find(t, c.puzzle), c.text)
		assert.Equal(t, c.rotation, e.Rotation, "%s: %q", c.puzzle, c.text)
		assert.Equal(t, c.moved, e.Moved, "%s: %q", c.puzzle, c.text)
	}
}

// Every rotation that turns can leave has a text, and the text does it.
func TestRotationTurns(t *testing.T) {
	for _, name := range testPuzzles {
		p := find(t, name)
		reached := map[int]bool{0: true}
		for queue := []int{0}; len(queue) > 0; queue = queue[1:] {
			r := queue[0]
			text := notation.Print(p, rotationTurns(p, r))
			assert.Equal(t, p.Symmetries[r].Stickers, p.Apply(turns(t, p, text)), "%s: %s", name, text)
			for line := range p.Lines {
				if next := p.Compose(r, p.Spin(line, 1)); !reached[next] {
					reached[next] = true
					queue = append(queue, next)
				}
			}
		}
		assert.LessOrEqual(t, len(reached), p.Rotations)
		assert.Greater(t, len(reached), 1)
	}
}

// A piece that goes round and comes home twisted is reported with the order of its twist.
func TestTwists(t *testing.T) {
	p := find(t, "3x3x3")
	e := describe(t, p, "R U")
	// Known of R U: order 105, from five corners that come back twisted, one corner twisted in place, and seven edges (105 = lcm(15, 3, 7)).
	assert.Equal(t, map[string]shape{"corner": {{5, 3}: 1, {1, 3}: 1}, "edge": {{7, 0}: 1}}, shapes(e))
	corner := e.Types[1].Twisted[0]
	require.Equal(t, "corner", e.Types[1].Type)
	assert.Equal(t, []string{"URF"}, corner.Labels)
	assert.Contains(t, []string{"RFU", "FUR"}, corner.Twist.Label)
	assert.Equal(t, p.Types[1].Labels[corner.Twist.Slot], corner.Twist.Label)
}
