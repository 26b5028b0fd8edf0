package puzzle_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// A sequence that a symmetry carries along does what the sequence did, carried
// along: for all symmetries, also reflections.
func TestSymmetriesCarryTurns(t *testing.T) {
	forBuiltins(t, func(t *testing.T, p *puzzle.Puzzle) {
		rng := rand.New(rand.NewPCG(1, 2))
		draw := func(_ string, n int) int { return rng.IntN(n) }
		for i := range p.Symmetries {
			s := &p.Symmetries[i]
			for range 5 {
				turns := randomTurns(p, draw, 6)
				image := make([]puzzle.Turn, len(turns))
				for k, turn := range turns {
					image[k] = s.Image(turn)
				}
				require.Equal(t, conjugate(p.Apply(turns), s.Stickers), p.Apply(image), "symmetry %d", i)
			}
		}
	})
}

// Syllables are carried along too, unless the layer that rests would have to move.
func TestSymmetriesCarrySyllables(t *testing.T) {
	forBuiltins(t, func(t *testing.T, p *puzzle.Puzzle) {
		rng := rand.New(rand.NewPCG(3, 4))
		carried := 0
		for i := range p.Symmetries {
			for line, l := range p.Lines {
				s := puzzle.Syllable{Line: line, Amounts: make([]int, l.Layers)}
				for k := range s.Amounts {
					if k != l.Reference {
						s.Amounts[k] = rng.IntN(l.Steps)
					}
				}
				image, ok := p.SyllableImage(i, s)
				want := conjugate(p.SyllablePerm(s), p.Symmetries[i].Stickers)
				if ok {
					require.Equal(t, want, p.SyllablePerm(image), "symmetry %d, line %d", i, line)
					require.Zero(t, image.Amounts[p.Lines[image.Line].Reference])
					carried++
					continue
				}
				rest := conjugate(l.Step[l.Reference], p.Symmetries[i].Stickers)
				for _, o := range p.Lines {
					require.NotEqual(t, rest, o.Step[o.Reference])
				}
			}
		}
		require.Positive(t, carried)
	})
}

// A rotation of the whole, as a turn, is the symmetry that Spin names.
func TestSpinIsTurningTheWhole(t *testing.T) {
	forBuiltins(t, func(t *testing.T, p *puzzle.Puzzle) {
		for i, a := range p.Axes {
			for k := range p.Lines[a.Line].Steps {
				turn := puzzle.Turn{Axis: i, From: 1, To: p.Lines[a.Line].Layers, Amount: k}
				if a.Far {
					k = -k
				}
				require.Equal(t, p.Symmetries[p.Spin(a.Line, k)].Stickers, p.TurnPerm(turn))
			}
		}
	})
}
