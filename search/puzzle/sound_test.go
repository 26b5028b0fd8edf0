package puzzle_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// forBuiltins runs a test on every built-in puzzle.
func forBuiltins(t *testing.T, test func(t *testing.T, p *puzzle.Puzzle)) {
	for _, d := range puzzle.Builtin() {
		t.Run(d.Name, func(t *testing.T) {
			p, err := puzzle.Find(d.Name)
			require.NoError(t, err)
			test(t, p)
		})
	}
}

func TestBuiltinsAreSound(t *testing.T) {
	forBuiltins(t, func(t *testing.T, p *puzzle.Puzzle) { assertSound(t, p) })
}

// assertSound checks what holds for every puzzle, whatever its definition.
func assertSound(t require.TestingT, p *puzzle.Puzzle) {
	require.NotEmpty(t, p.Stickers)
	assertSoundLayers(t, p)
	assertSoundAxes(t, p)
	assertSoundTypes(t, p)
	assertSoundGroup(t, p)
}

// Layers turn apart from one another, each in as many steps as the line has, and
// all together they are a rotation of the whole.
func assertSoundLayers(t require.TestingT, p *puzzle.Puzzle) {
	for i, l := range p.Lines {
		require.Len(t, l.Step, l.Layers)
		require.GreaterOrEqual(t, l.Layers, 2)
		require.Less(t, l.Reference, l.Layers)
		whole := p.Identity()
		movedBy := make([]int, len(p.Stickers)) // 1 + the layer that moves a sticker
		for k, step := range l.Step {
			require.Equal(t, l.Steps, orderOf(step), "line %d, layer %d", i, k)
			whole = whole.Then(step)
			for x, y := range step {
				if int(y) != x {
					require.Zero(t, movedBy[x], "line %d: sticker %d is in two layers", i, x)
					movedBy[x] = k + 1
				}
			}
			for _, piece := range p.Pieces {
				to := p.Stickers[step[piece.Stickers[0]]].Piece
				require.Len(t, p.Pieces[to].Stickers, len(piece.Stickers))
				for _, x := range piece.Stickers {
					require.Equal(t, to, p.Stickers[step[x]].Piece, "line %d, layer %d tears a piece", i, k)
				}
			}
		}
		require.Equal(t, p.Symmetries[p.Spin(i, 1)].Stickers, whole, "line %d", i)
	}
}

func orderOf(perm puzzle.Perm) int {
	n := 1
	for power := perm; !power.IsIdentity(); power = power.Then(perm) {
		n++
	}
	return n
}

func assertSoundAxes(t require.TestingT, p *puzzle.Puzzle) {
	names := map[string]bool{}
	for i, a := range p.Axes {
		require.False(t, names[a.Name], "two axes are named %s", a.Name)
		names[a.Name] = true
		require.Less(t, a.Line, len(p.Lines))
		if a.Opposite >= 0 {
			o := p.Axes[a.Opposite]
			require.Equal(t, i, o.Opposite)
			require.Equal(t, a.Line, o.Line)
			require.NotEqual(t, a.Far, o.Far)
		} else {
			require.False(t, a.Far, "axis %s is the far end of a line with no near one", a.Name)
		}
		found, ok := p.AxisByName(a.Name)
		require.True(t, ok)
		require.Equal(t, i, found)
	}
}

// Types share the pieces out, and their slots are places and orientations of them.
func assertSoundTypes(t require.TestingT, p *puzzle.Puzzle) {
	pieces := 0
	for i, ty := range p.Types {
		found, ok := p.TypeByName(ty.Name)
		require.True(t, ok)
		require.Equal(t, i, found, "two types are named %s", ty.Name)
		pieces += len(ty.Pieces)
		require.Len(t, ty.Slots, len(ty.Pieces)*ty.Orientations)
		require.LessOrEqual(t, len(ty.Slots), p.Rotations)
		require.Len(t, ty.Labels, len(ty.Slots))
		require.Len(t, ty.Place, len(ty.Slots))
		labels, slots := map[string]bool{}, map[string]bool{}
		atPlace := make([]int, len(ty.Pieces))
		for s, slot := range ty.Slots {
			key := fmt.Sprint(slot)
			require.False(t, slots[key] || labels[ty.Labels[s]], "slot %s of %s is there twice", ty.Labels[s], ty.Name)
			slots[key], labels[ty.Labels[s]] = true, true
			atPlace[ty.Place[s]]++
			home := p.Pieces[ty.Pieces[ty.Place[s]]]
			require.Equal(t, slices.Sorted(slices.Values(home.Stickers)), slices.Sorted(slices.Values(toInts(slot))))
		}
		for k, piece := range ty.Pieces {
			require.Equal(t, ty.Orientations, atPlace[k])
			require.Equal(t, i, p.Pieces[piece].Type)
			require.Equal(t, toInts(ty.Slots[p.Pieces[piece].Home]), p.Pieces[piece].Stickers)
		}
		for _, l := range p.Lines {
			for _, step := range l.Step {
				for _, slot := range ty.Slots {
					image := make([]uint16, len(slot))
					for j, x := range slot {
						image[j] = step[x]
					}
					require.True(t, slots[fmt.Sprint(image)], "a turn carries a slot of %s out of them", ty.Name)
				}
			}
		}
	}
	require.Len(t, p.Pieces, pieces)
	for x, sticker := range p.Stickers {
		require.Contains(t, p.Pieces[sticker.Piece].Stickers, x)
	}
}

func toInts(xs []uint16) []int {
	out := make([]int, len(xs))
	for i, x := range xs {
		out[i] = int(x)
	}
	return out
}

// Symmetries are a group: products and inverses are as the tables say, for
// stickers and for axes. Rotations come first, and reflections are as many or none.
func assertSoundGroup(t require.TestingT, p *puzzle.Puzzle) {
	require.True(t, p.Symmetries[0].Stickers.IsIdentity())
	require.Contains(t, []int{p.Rotations, 2 * p.Rotations}, len(p.Symmetries))
	for i, s := range p.Symmetries {
		require.Equal(t, i >= p.Rotations, s.Reflection)
		require.Zero(t, p.Compose(i, s.Inverse))
		require.Zero(t, p.Compose(s.Inverse, i))
		for j, r := range p.Symmetries {
			both := p.Symmetries[p.Compose(i, j)]
			axes := make([]int, len(p.Axes))
			for a := range axes {
				axes[a] = r.Axes[s.Axes[a]]
			}
			if !slices.Equal(s.Stickers.Then(r.Stickers), both.Stickers) || !slices.Equal(axes, both.Axes) {
				require.Fail(t, "wrong product", "symmetries %d and %d", i, j)
			}
		}
	}
	for i, l := range p.Lines {
		for k := range l.Steps {
			require.Equal(t, p.Spin(i, k+1), p.Compose(p.Spin(i, k), p.Spin(i, 1)))
		}
		require.Equal(t, p.Spin(i, -1), p.Symmetries[p.Spin(i, 1)].Inverse)
	}
}

// randomTurns are n turns from a seed: blocks of any layers, the whole too, by
// any amounts, also those outside a circle.
func randomTurns(p *puzzle.Puzzle, draw func(label string, n int) int, n int) []puzzle.Turn {
	turns := make([]puzzle.Turn, n)
	for i := range turns {
		axis := draw("axis", len(p.Axes))
		l := p.Lines[p.Axes[axis].Line]
		from := 1 + draw("from", l.Layers)
		turns[i] = puzzle.Turn{
			Axis:   axis,
			From:   from,
			To:     from + draw("to", l.Layers+1-from),
			Amount: draw("amount", 3*l.Steps) - l.Steps,
		}
	}
	return turns
}

func cost(p *puzzle.Puzzle, m puzzle.Metric, turns []puzzle.Turn) int {
	sum := 0
	for _, turn := range turns {
		sum += p.Cost(m, turn)
	}
	return sum
}

// conjugate is σ⁻¹·perm·σ: what perm is after the symmetry has carried it along.
func conjugate(perm, symmetry puzzle.Perm) puzzle.Perm {
	return symmetry.Inverse().Then(perm).Then(symmetry)
}

func assertSamePerm(t assert.TestingT, want, got puzzle.Perm, msg ...any) bool {
	return assert.True(t, slices.Equal(want, got), msg...)
}
