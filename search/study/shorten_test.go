package study

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/breadth"
	"turnwright/search/effect"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

func find(t testing.TB, name string) *puzzle.Puzzle {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	return p
}

func workshop(t testing.TB, name string, m puzzle.Metric, memory int64) *Workshop {
	t.Helper()
	w, err := NewWorkshop(t.Context(), find(t, name), m, Options{Memory: memory})
	require.NoError(t, err)
	return w
}

// randomTurns are outer blocks and layers at random, with no two on a line in a row.
func randomTurns(p *puzzle.Puzzle, rng *rand.Rand, n int) []puzzle.Turn {
	var out []puzzle.Turn
	for len(out) < n {
		axis := rng.IntN(len(p.Axes))
		line := p.Axes[axis].Line
		if n := len(out); n > 0 && p.Axes[out[n-1].Axis].Line == line {
			continue
		}
		layer := 1
		if l := p.Lines[line]; l.Layers > 3 || rng.IntN(4) == 0 {
			layer = 1 + rng.IntN(l.Layers-1)
		}
		out = append(out, puzzle.Turn{Axis: axis, From: layer, To: layer, Amount: 1 + rng.IntN(p.Lines[line].Steps-1)})
	}
	return out
}

// threeCycles is a long solution made of so many commutators that cycle three pieces, each with a
// setup, as someone writes who solves the pieces a few at a time.
func threeCycles(t testing.TB, p *puzzle.Puzzle, rng *rand.Rand, n int) []puzzle.Turn {
	t.Helper()
	var out []puzzle.Turn
	for tries := 0; n > 0; tries++ {
		require.Less(t, tries, 1_000_000)
		a, b := randomTurns(p, rng, 1), randomTurns(p, rng, 1)
		x := append(append(append([]puzzle.Turn{}, a...), b...), notation.Invert(a)...)
		y := randomTurns(p, rng, 1)
		c := append(append(append(append([]puzzle.Turn{}, x...), y...), notation.Invert(x)...), notation.Invert(y)...)
		s := effect.SupportOf(p, p.Apply(c))
		if s.Len() != 3 {
			continue
		}
		setup := randomTurns(p, rng, rng.IntN(4))
		out = append(append(append(out, setup...), c...), notation.Invert(setup)...)
		n--
	}
	return out
}

// How much shorter do long solutions of the demo puzzle become? TURNWRIGHT_STUDY is for how many
// seconds each is shortened.
func TestMeasureShortening(t *testing.T) {
	seconds, err := strconv.Atoi(os.Getenv("TURNWRIGHT_STUDY"))
	if err != nil {
		t.Skip("set TURNWRIGHT_STUDY to a number of seconds")
	}
	begun := time.Now()
	w := workshop(t, "vertex-cut-dodecahedron", puzzle.STM, 0)
	t.Logf("table of depth %d in %v", w.Depth(), time.Since(begun))
	for seed := range uint64(3) {
		rng := rand.New(rand.NewPCG(seed, 1))
		turns := threeCycles(t, w.p, rng, 40)
		s := Of(w.p, w.m, notation.Invert(turns), turns)
		require.True(t, s.Solves)
		ctx, cancel := context.WithTimeout(t.Context(), time.Duration(seconds)*time.Second)
		begun := time.Now()
		best, err := w.Shorten(ctx, s, Budget{}, seed, func(i Improvement) {
			t.Logf("%6.1fs %4d %s", time.Since(begun).Seconds(), i.Length, i.By)
		})
		cancel()
		require.NoError(t, err)
		given := notation.Length(w.p, w.m, turns)
		t.Logf("%d → %d, %.1f %% shorter", given, best.Length, 100*float64(given-best.Length)/float64(given))
	}
}

func TestReduceMergesWhatMeets(t *testing.T) {
	for _, c := range []struct{ puzzle, text, want string }{
		{"3x3x3", "R L R'", "L"},
		{"3x3x3", "R U U' R'", ""},
		{"3x3x3", "U R L R' L' U'", ""},
		{"megaminx", "a d a'", "d"},
	} {
		p := find(t, c.puzzle)
		ls, err := newLetters(p, puzzle.OBTM)
		require.NoError(t, err)
		turns, err := notation.ParseTurns(p, c.text)
		require.NoError(t, err)
		w, err := ls.spell(turns, 0)
		require.NoError(t, err)
		assert.Equal(t, c.want, notation.Print(p, ls.turns(ls.reduce(nil, w), 0)), strings.TrimSpace(c.text))
	}
}

// The shortest sequence for a stretch is as long as the plain breadth-first search says.
func TestStretchesAgainstBreadthFirst(t *testing.T) {
	for _, c := range []struct {
		puzzle string
		metric puzzle.Metric
		max    int
	}{
		{"2x2x2", puzzle.OBTM, 5}, {"2x2x2", puzzle.QTM, 6}, {"3x3x3", puzzle.OBTM, 4},
		{"3x3x3", puzzle.STM, 3}, {"3x3x3", puzzle.QTM, 4}, {"3x3x3", puzzle.ETM, 3}, {"megaminx", puzzle.OBTM, 2},
	} {
		t.Run(c.puzzle+" "+c.metric.String(), func(t *testing.T) {
			w := workshop(t, c.puzzle, c.metric, 40_000)
			require.Less(t, w.Depth(), c.max+1)
			all := make([]uint16, len(w.p.Stickers))
			for i := range all {
				all[i] = uint16(i)
			}
			distance := map[string]int{}
			err := breadth.Search{Moves: breadth.Moves(w.p, c.metric), Track: all, Max: c.max, Limit: 1e6}.Visit(func(position []uint16, d int) {
				distance[fmt.Sprint(position)] = d
			})
			require.NoError(t, err)
			rng := rand.New(rand.NewPCG(1, 2))
			f := w.finder()
			for range 60 {
				word, err := w.spell(randomTurns(w.p, rng, 1+rng.IntN(c.max)), 0)
				require.NoError(t, err)
				if rng.IntN(3) == 0 { // a detour that cancels in the end
					word = append(w.inverted(slices.Clone(word), word), word...)
				}
				want, ok := distance[fmt.Sprint([]uint16(w.perm(word)))]
				got, found := f.shortest(word, c.max)
				require.Equal(t, ok, found)
				if found {
					require.Equal(t, want, w.cost(got))
					require.Equal(t, w.perm(word), w.perm(got))
				}
			}
		})
	}
}

// Whatever is found ends as the given solution does, gets shorter each time, and is the same
// each time. A solution with a detour loses it.
func TestShortenKeepsTheEnd(t *testing.T) {
	for _, c := range []struct {
		puzzle string
		metric puzzle.Metric
	}{{"3x3x3", puzzle.OBTM}, {"3x3x3", puzzle.ETM}, {"2x2x2", puzzle.QTM}, {"pyraminx", puzzle.OBTM}, {"4x4x4", puzzle.STM}, {"megaminx", puzzle.OBTM}, {"skewb", puzzle.OBTM}} {
		t.Run(c.puzzle+" "+c.metric.String(), func(t *testing.T) {
			w := workshop(t, c.puzzle, c.metric, 400_000)
			rng := rand.New(rand.NewPCG(3, 4))
			for range 3 {
				turns := randomTurns(w.p, rng, 10)
				detour := randomTurns(w.p, rng, 3)
				scramble := notation.Invert(turns)
				turns = slices.Concat(turns[:5], detour, notation.Invert(detour), turns[5:])
				if rng.IntN(2) == 0 {
					scramble = nil
				}
				s := Of(w.p, w.m, scramble, turns)
				require.True(t, s.Solves)
				run := func() (Improvement, []string) {
					var texts []string
					last := notation.Length(w.p, w.m, turns)
					best, err := w.Shorten(t.Context(), s, Budget{Leaves: 60_000}, 7, func(i Improvement) {
						require.Less(t, i.Length, last)
						last = i.Length
						got, n, err := s.Same(i.Text)
						require.NoError(t, err)
						require.Equal(t, i.Length, n)
						require.True(t, Of(w.p, w.m, s.Scramble, got).Solves)
						texts = append(texts, i.Text)
					})
					require.NoError(t, err)
					return best, texts
				}
				best, texts := run()
				require.LessOrEqual(t, best.Length, notation.Length(w.p, w.m, turns)-notation.Length(w.p, w.m, detour))
				again, same := run()
				require.Equal(t, best, again)
				require.Equal(t, texts, same)
			}
		})
	}
}

// Cycles one after another become shorter by doing some of them at another moment.
func TestStretchesAreMoved(t *testing.T) {
	w := workshop(t, "3x3x3", puzzle.OBTM, 40_000)
	turns := threeCycles(t, w.p, rand.New(rand.NewPCG(5, 6)), 4)
	s := Of(w.p, w.m, notation.Invert(turns), turns)
	by := map[string]bool{}
	best, err := w.Shorten(t.Context(), s, Budget{Leaves: 2_000_000}, 1, func(i Improvement) { by[i.By] = true })
	require.NoError(t, err)
	assert.Less(t, best.Length, notation.Length(w.p, w.m, notation.Simplify(w.p, turns)))
	assert.True(t, by[ByMoving])
}

func TestABudgetOfAContextThatEnded(t *testing.T) {
	w := workshop(t, "2x2x2", puzzle.OBTM, 40_000)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	turns, err := notation.ParseTurns(w.p, "R U R U' U R")
	require.NoError(t, err)
	best, err := w.Shorten(ctx, Of(w.p, w.m, nil, turns), Budget{}, 1, nil)
	require.NoError(t, err)
	assert.Equal(t, "R U R2", best.Text, "what merges needs no time")
}

func TestLookingUpAllocatesNothing(t *testing.T) {
	w := workshop(t, "vertex-cut-dodecahedron", puzzle.STM, 2_000_000)
	f := w.finder()
	word, err := w.spell(randomTurns(w.p, rand.New(rand.NewPCG(1, 2)), 9), 0)
	require.NoError(t, err)
	perm, rows := w.perm(word), f.rows(nil, word)
	hit := func([]int) bool { return true }
	f.words(perm, rows, w.Depth()+2, hit)
	assert.Zero(t, testing.AllocsPerRun(3, func() { f.words(perm, rows, w.Depth()+2, hit) }))
}
