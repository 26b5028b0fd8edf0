package improve_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"turnwright/search/coverage"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/variant"
)

// random is a sequence of n turns of outer layers, no two neighbours about one axis.
func random(p *puzzle.Puzzle, rng *rand.Rand, n int) []puzzle.Turn {
	var out []puzzle.Turn
	for len(out) < n {
		a := rng.IntN(len(p.Axes))
		if k := len(out); k > 0 && out[k-1].Axis == a {
			continue
		}
		amount := 1 + rng.IntN(p.Lines[p.Axes[a].Line].Steps-1)
		out = append(out, notation.Canonical(p, puzzle.Turn{Axis: a, From: 1, To: 1, Amount: amount}))
	}
	return notation.Simplify(p, out)
}

// skeleton is a random solution, and a scramble that it solves but for what wrong does.
func skeleton(p *puzzle.Puzzle, rng *rand.Rand, n int, wrong []puzzle.Turn) (scramble, solution []puzzle.Turn) {
	solution = random(p, rng, n)
	return notation.Simplify(p, slices.Concat(wrong, puzzle.Invert(solution))), solution
}

// twin is the slow twin of insertions. It knows sequences with what they do, and
// nothing of cycles or slots.
type twin struct {
	p         *puzzle.Puzzle
	m         puzzle.Metric
	sequences []variant.Sequence
	perms     []puzzle.Perm
}

// newTwin has all images and inverses of what a table keeps, each once.
func newTwin(t testing.TB, table *coverage.Table) *twin {
	t.Helper()
	b := table.Bench
	out := &twin{p: b.Puzzle, m: b.Metric}
	seen := map[string]bool{}
	for _, class := range b.Catalog.Classes {
		best, err := table.Best(context.Background(), class.Index)
		require.NoError(t, err)
		for _, s := range best {
			for i := range b.Symmetries {
				image := b.Image(s, i)
				for _, v := range []variant.Sequence{image, b.Inverse(image)} {
					if text := b.Text(v); !seen[text] {
						seen[text] = true
						out.sequences = append(out.sequences, v)
						out.perms = append(out.perms, b.Puzzle.Apply(v.Turns))
					}
				}
			}
		}
	}
	return out
}

// each puts every sequence at every place of a solution: between any two turns, also
// with turns of one line in the other order, and with each turn split in two where that costs
// no more than 1. The turns after it are renamed where the sequence rotates the whole.
// yield gets the solution, and what it does after the scramble.
func (w *twin) each(scramble, solution []puzzle.Turn, yield func(before []puzzle.Turn, s variant.Sequence, after []puzzle.Turn, does product)) {
	p := w.p
	try := func(before, after []puzzle.Turn) {
		first := p.Apply(slices.Concat(scramble, before))
		renamed := map[int][]puzzle.Turn{}
		last := map[int]puzzle.Perm{}
		for i, s := range w.sequences {
			if _, ok := last[s.Rotation]; !ok {
				turns := make([]puzzle.Turn, len(after))
				for j, turn := range after {
					turns[j] = p.Symmetries[s.Rotation].Image(turn)
				}
				renamed[s.Rotation], last[s.Rotation] = turns, p.Apply(turns)
			}
			yield(before, s, renamed[s.Rotation], product{first, w.perms[i], last[s.Rotation]})
		}
	}
	places := func(solution []puzzle.Turn) {
		for i := range len(solution) + 1 {
			try(solution[:i], solution[i:])
			if i == len(solution) {
				break
			}
			for amount := 1; amount < p.Lines[p.Axes[solution[i].Axis].Line].Steps; amount++ {
				a, b := solution[i], solution[i]
				a.Amount, b.Amount = amount, b.Amount-amount
				if b.Amount != 0 && p.Cost(w.m, a)+p.Cost(w.m, b) <= p.Cost(w.m, solution[i])+1 {
					try(append(slices.Clone(solution[:i]), a), append([]puzzle.Turn{b}, solution[i+1:]...))
				}
			}
		}
	}
	places(solution)
	for i := 1; i < len(solution); i++ {
		if p.Axes[solution[i].Axis].Line == p.Axes[solution[i-1].Axis].Line {
			swapped := slices.Clone(solution)
			swapped[i], swapped[i-1] = swapped[i-1], swapped[i]
			places(swapped)
		}
	}
}

// one is the least length with one sequence put in, or -1.
func (w *twin) one(scramble, solution []puzzle.Turn) int {
	best := -1
	w.each(scramble, solution, func(before []puzzle.Turn, s variant.Sequence, after []puzzle.Turn, does product) {
		if !w.solved(does) {
			return
		}
		if n := w.length(slices.Concat(before, s.Turns, after)); best < 0 || n < best {
			best = n
		}
	})
	return best
}

// product is three permutations, one after another. Most are not looked at in full.
type product [3]puzzle.Perm

func (d product) at(x int) int { return int(d[2][d[1][d[0][x]]]) }

func (d product) perm() puzzle.Perm { return d[0].Then(d[1]).Then(d[2]) }

// solved tells whether all stickers are as some rotation of the whole leaves them.
func (w *twin) solved(d product) bool {
next:
	for _, s := range w.p.Symmetries[:w.p.Rotations] {
		for x, y := range s.Stickers {
			if d.at(x) != int(y) {
				continue next
			}
		}
		return true
	}
	return false
}

// length is that of turns with neighbours merged. Where turning some layers is
// turning the others back, the frame tells.
func (w *twin) length(turns []puzzle.Turn) int {
	if w.p.Lines[0].Layers != 3 || w.m == puzzle.STM {
		word, _ := w.p.ToFrame(turns)
		turns, _ = w.p.FromFrame(w.m, word)
	}
	return notation.Length(w.p, w.m, notation.Simplify(w.p, turns))
}
