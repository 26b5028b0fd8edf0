package improve_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/goal"
	"turnwright/search/improve"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/variant"
)

// cyclePerm is a cycle as a permutation of all stickers, made the plain way.
func cyclePerm(p *puzzle.Puzzle, typ int, c goal.Cycle) puzzle.Perm {
	perm := p.Identity()
	slots := p.Types[typ].Slots
	for i, from := range c {
		for k, x := range slots[from] {
			perm[x] = slots[c[(i+1)%3]][k]
		}
	}
	return perm
}

// Moves, a sequence and more moves do the moves with the cycle between them, however
// the sequence rotates the whole; they rank by net length, which is what
// simplifying leaves.
func TestJoin(t *testing.T) {
	for _, c := range []struct {
		puzzle, cycle string
		metric        puzzle.Metric
		known         []string
	}{
		{"3x3x3", "corner", puzzle.OBTM, corners},
		{"3x3x3", "edge", puzzle.STM, edges},
		{"2x2x2", "corner", puzzle.OBTM, corners[:1]},
		{"4x4x4", "wing", puzzle.OBTM, wings},
		{"vertex-cut-dodecahedron", "triangle", puzzle.STM, triangles},
	} {
		t.Run(c.puzzle+" "+c.cycle, func(t *testing.T) {
			table := covered(t, c.puzzle, c.cycle, c.metric, 1, c.known...)
			b, p := table.Bench, table.Bench.Puzzle
			w := twin{p: p, m: c.metric}
			rapid.Check(t, func(rt *rapid.T) {
				rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 0))
				before, after := random(p, rng, rng.IntN(6)), random(p, rng, rng.IntN(6))
				var sequences []variant.Sequence
				for range 10 {
					best, err := table.Best(context.Background(), 1+rng.IntN(len(b.Catalog.Classes)))
					require.NoError(rt, err)
					for _, s := range best {
						s = b.Image(s, rng.IntN(len(b.Symmetries)))
						if rng.IntN(2) == 0 {
							s = b.Inverse(s)
						}
						sequences = append(sequences, s)
					}
				}
				got, err := improve.Join(context.Background(), b, before, after, sequences)
				require.NoError(rt, err)
				require.Len(rt, got, len(sequences))
				for i, j := range got {
					want := product{p.Apply(before), cyclePerm(p, b.Goal.Cycle, j.Sequence.Cycle), p.Apply(after)}
					assert.True(rt, w.solved(product{want.perm().Inverse(), p.Apply(j.Turns), p.Identity()}), notation.Print(p, j.Turns))
					assert.Equal(rt, j.Length, notation.Length(p, c.metric, j.Turns))
					var renamed []puzzle.Turn
					for _, turn := range after {
						renamed = append(renamed, p.Symmetries[j.Sequence.Rotation].Image(turn))
					}
					assert.LessOrEqual(rt, j.Length, notation.Length(p, c.metric, notation.Simplify(p, slices.Concat(before, j.Sequence.Turns, renamed))))
					assert.Equal(rt, j.Net, j.Length-w.length(before)-w.length(after))
					if i > 0 {
						assert.LessOrEqual(rt, got[i-1].Net, j.Net)
					}
				}
			})
		})
	}
}

// R' D' R U' R' D R U after U' needs no U at its end where U' follows.
func TestNetLength(t *testing.T) {
	table := covered(t, "3x3x3", "corner", puzzle.OBTM, 1, corners[0])
	s, err := table.Bench.Read(parse(t, table.Bench.Puzzle, corners[0]), nil)
	require.NoError(t, err)
	for _, c := range []struct {
		before, after string
		net           int
	}{
		{"F", "F", 8},
		{"F", "U' F", 6},
		{"F", "U F", 7},
		{"F R", "U' R' F", 2},
		{"F R L'", "U' R' F", 2}, // the turn of the other side of the line is no hindrance
		{"U' R' D' R U R' D R", "", -8},
	} {
		p := table.Bench.Puzzle
		got, err := improve.Join(context.Background(), table.Bench, parse(t, p, c.before), parse(t, p, c.after), []variant.Sequence{s})
		require.NoError(t, err)
		assert.Equal(t, c.net, got[0].Net, "%v: %s", c, notation.Print(p, got[0].Turns))
	}
	_, err = improve.Join(context.Background(), table.Bench, make([]puzzle.Turn, improve.MaxTurns+1), nil, nil)
	assert.ErrorContains(t, err, "at most")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err = improve.Join(ctx, table.Bench, nil, nil, []variant.Sequence{s})
	assert.ErrorIs(t, err, context.Canceled)
}

// The form that is taken costs what the cheapest of all forms costs, each put between the moves
// in full, and it makes a cycle of the class, or the same cycle.
func TestTheCheapestFormIsTaken(t *testing.T) {
	for _, c := range []struct {
		puzzle, cycle string
		metric        puzzle.Metric
		known         []string
	}{
		{"3x3x3", "corner", puzzle.OBTM, corners},
		{"2x2x2", "corner", puzzle.OBTM, corners[:1]},
		{"4x4x4", "wing", puzzle.OBTM, wings},
	} {
		t.Run(c.puzzle+" "+c.cycle, func(t *testing.T) {
			table := covered(t, c.puzzle, c.cycle, c.metric, 1, c.known...)
			b, p := table.Bench, table.Bench.Puzzle
			rapid.Check(t, func(rt *rapid.T) {
				rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 0))
				before, after := random(p, rng, rng.IntN(5)), random(p, rng, rng.IntN(5))
				best, err := table.Best(context.Background(), 1+rng.IntN(len(b.Catalog.Classes)))
				require.NoError(rt, err)
				for _, same := range []bool{false, true} {
					var forms []variant.Sequence
					for i := range b.Symmetries {
						for _, s := range []variant.Sequence{b.Image(best[0], i), b.Inverse(b.Image(best[0], i))} {
							if !same || s.Cycle == best[0].Cycle {
								forms = append(forms, s)
							}
						}
					}
					all, err := improve.Join(context.Background(), b, before, after, forms)
					require.NoError(rt, err)
					m, err := improve.NewMoves(b, before, after)
					require.NoError(rt, err)
					got := m.JoinForm(best[0], same)
					assert.Equal(rt, all[0].Net, got.Net, "%s between %s and %s", b.Text(best[0]), notation.Print(p, before), notation.Print(p, after))
					assert.Equal(rt, b.Catalog.ClassOf(best[0].Cycle), b.Catalog.ClassOf(got.Sequence.Cycle))
					assert.NoError(rt, b.Verify(got.Sequence))
					if same {
						assert.Equal(rt, best[0].Cycle, got.Sequence.Cycle)
					}
				}
			})
		})
	}
}
