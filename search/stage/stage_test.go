package stage

import (
	"context"
	"errors"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// scramble is a long word of random turns.
func scramble(p *puzzle.Puzzle, rng *rand.Rand) []puzzle.Turn {
	var out []puzzle.Turn
	for range 60 + len(p.Stickers) {
		axis := rng.IntN(len(p.Axes))
		l := p.Lines[p.Axes[axis].Line]
		layer := 1 + rng.IntN(l.Layers)
		out = append(out, puzzle.Turn{Axis: axis, From: layer, To: layer, Amount: 1 + rng.IntN(l.Steps-1)})
	}
	return out
}

// checked holds a solution against the slow evaluator, which carries each turn out on all stickers.
func checked(t *testing.T, p *puzzle.Puzzle, metric puzzle.Metric, scramble []puzzle.Turn, s *Solution) {
	t.Helper()
	require.True(t, p.Solved(p.Apply(slices.Concat(scramble, s.Turns))), "not solved")
	cost := 0
	for _, turn := range s.Turns {
		cost += p.Cost(metric, turn)
	}
	require.Equal(t, cost, s.Length)
}

// TestSolves solves seeded scrambles of every built-in puzzle. With TURNWRIGHT_STAGES=full
// it prints a table for twenty scrambles of each, and what Shorten makes of them by looking at up to so
// many words side by side as TURNWRIGHT_STAGES_WIDTH says.
func TestSolves(t *testing.T) {
	full := os.Getenv("TURNWRIGHT_STAGES") == "full"
	only := os.Getenv("TURNWRIGHT_STAGES_OF")
	slow := []string{"centre-cut-dodecahedron", "cube-6", "cube-7", "tipped-tetrahedron", "vertex-cut-icosahedron"}
	for _, d := range puzzle.Builtin() {
		if only != "" && d.Name != only {
			continue
		}
		t.Run(d.Name, func(t *testing.T) {
			if only == "" && !full && (testing.Short() || slices.Contains(slow, d.Name)) {
				t.Skip("its tables take seconds: TURNWRIGHT_STAGES=full")
			}
			p, err := puzzle.Find(d.Name)
			require.NoError(t, err)
			if full {
				measure(t, p, puzzle.STM, 20)
				measure(t, p, puzzle.OBTM, 20)
				return
			}
			measure(t, p, puzzle.STM, 2)
		})
	}
}

func measure(t *testing.T, p *puzzle.Puzzle, metric puzzle.Metric, count int) {
	begun := time.Now()
	s, err := New(t.Context(), p, Options{Metric: metric, Workers: 2})
	require.NoError(t, err)
	built := time.Since(begun)
	width, _ := strconv.Atoi(os.Getenv("TURNWRIGHT_STAGES_WIDTH"))
	var lengths, shorter []int
	var times, more []time.Duration
	for seed := range count {
		turns := scramble(p, rand.New(rand.NewPCG(uint64(seed), 7)))
		begun := time.Now()
		got, err := s.Solve(t.Context(), turns)
		require.NoError(t, err, "seed %d", seed)
		times = append(times, time.Since(begun))
		lengths = append(lengths, got.Length)
		checked(t, p, metric, turns, got)
		if seed == 0 {
			t.Logf("%s, %s: %v", p.Name, metric, got.Stages)
		}
		for w := s.width * widen; w <= width && s.optimal == nil; w *= widen {
			next, err := s.solve(t.Context(), turns, w)
			require.NoError(t, err)
			checked(t, p, metric, turns, next)
			if next.Length < got.Length {
				got = next
			}
		}
		more = append(more, time.Since(begun))
		shorter = append(shorter, got.Length)
	}
	for _, list := range [][]int{lengths, shorter} {
		slices.Sort(list)
	}
	for _, list := range [][]time.Duration{times, more} {
		slices.Sort(list)
	}
	mid := count / 2
	t.Logf("| %s | %s | tables %v | solved %d of %d | %d in %v | shortened to %d in %v |", p.Name, metric, built.Round(time.Millisecond),
		len(lengths), count, lengths[mid], times[mid].Round(time.Millisecond), shorter[mid], more[mid].Round(time.Millisecond))
}

func TestShorten(t *testing.T) {
	p, err := puzzle.Find("cube-4")
	require.NoError(t, err)
	s, err := New(t.Context(), p, Options{Metric: puzzle.OBTM, Width: 1})
	require.NoError(t, err)
	turns := scramble(p, rand.New(rand.NewPCG(3, 7)))
	first, err := s.Solve(t.Context(), turns)
	require.NoError(t, err)
	stop := errors.New("enough")
	var lengths []int
	err = s.Shorten(t.Context(), turns, first.Length, func(next *Solution) error {
		checked(t, p, puzzle.OBTM, turns, next)
		lengths = append(lengths, next.Length)
		if len(lengths) == 2 {
			return stop
		}
		return nil
	})
	require.ErrorIs(t, err, stop)
	require.Less(t, lengths[0], first.Length)
	require.Less(t, lengths[1], lengths[0])

	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.NoError(t, s.Shorten(ctx, turns, first.Length, func(*Solution) error { t.Error("told after its end"); return nil }))
	_, err = s.Solve(ctx, turns)
	require.ErrorIs(t, err, context.Canceled)
	_, err = New(ctx, p, Options{Metric: puzzle.OBTM})
	require.ErrorIs(t, err, context.Canceled)
}

// TestWorkers holds solutions of one number of goroutines against those of others.
func TestWorkers(t *testing.T) {
	p, err := puzzle.Find("cube-4")
	require.NoError(t, err)
	turns := scramble(p, rand.New(rand.NewPCG(1, 7)))
	var first *Solution
	s, err := New(t.Context(), p, Options{Metric: puzzle.STM})
	require.NoError(t, err)
	for _, workers := range []int{1, 2, 5} {
		s.workers = workers
		got, err := s.Solve(t.Context(), turns)
		require.NoError(t, err)
		if first == nil {
			first = got
		}
		require.Equal(t, first, got)
	}
}

// TestTables carries the words of tables out on all stickers, and holds what they do
// against what they are listed for.
func TestTables(t *testing.T) {
	for _, name := range []string{"cube-4", "edge-cube", "vertex-octahedron"} {
		p, err := puzzle.Find(name)
		require.NoError(t, err)
		s, err := New(t.Context(), p, Options{Metric: puzzle.STM})
		require.NoError(t, err)
		m := s.m
		kept := map[int]bool{}
		for t := range m.types {
			kept[t] = m.types[t].moved && !m.types[t].permute
		}
		for _, sh := range s.shelves {
			k := &m.types[sh.typ]
			require.True(t, sh.whole, "%s: %s", name, k.name)
			for i, words := range sh.words {
				if i%7 != 0 {
					continue
				}
				at := []int{i / k.n / k.n, i / k.n % k.n, i % k.n}
				for _, w := range words {
					effect, cost := p.Identity(), 0
					for _, x := range w {
						effect = effect.Then(p.SyllablePerm(m.syllable(x)))
						cost += p.SyllableCost(puzzle.STM, m.syllable(x))
					}
					to := m.slotPerm(effect)
					for x := range m.types {
						other := &m.types[x]
						for slot := range other.n {
							switch {
							case x != sh.typ && kept[x]:
								require.Equal(t, other.lo+slot, int(to[other.lo+slot]), "%s: %s moves %s", name, k.name, other.name)
							case x == sh.typ && slices.Contains(at, slot):
								next := at[(slices.Index(at, slot)+1)%3]
								require.Equal(t, k.lo+next, int(to[k.lo+slot]), "%s: %s", name, k.name)
							case x == sh.typ && !slices.ContainsFunc(at, func(y int) bool { return k.place[y] == k.place[slot] }):
								require.Equal(t, k.lo+slot, int(to[k.lo+slot]), "%s: %s moves others of its own", name, k.name)
							}
						}
					}
					require.Equal(t, cost, m.total(w))
					require.LessOrEqual(t, int(sh.cost[i]), cost)
				}
			}
			kept[sh.typ] = true
		}
	}
}

// TestNet holds what a word costs more with another in it against joining them.
func TestNet(t *testing.T) {
	p, err := puzzle.Find("cube-4")
	require.NoError(t, err)
	m := newModel(p, puzzle.OBTM)
	rng := rand.New(rand.NewPCG(1, 2))
	random := func(n int) (out []syl) {
		for range n {
			out = m.join(out, m.letters[rng.IntN(len(m.letters))].syl)
		}
		return out
	}
	for range 20_000 {
		word := random(rng.IntN(12))
		place := rng.IntN(len(word) + 1)
		in := random(rng.IntN(5))
		if rng.IntN(2) == 0 { // one that undoes much of what is there
			in = m.join(m.invert(word[:place]), in...)
		}
		whole := m.join(m.join(slices.Clone(word[:place]), in...), word[place:]...)
		require.Equal(t, m.total(whole), m.total(word)+m.net(word, place, in), "%v at %d of %v", in, place, word)
	}
}

// TestPicks holds what is kept against sorting everything.
func TestPicks(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 500 {
		limit := 1 + rng.IntN(8)
		var p picks
		var all []step
		for i := range rng.IntN(100) {
			x := step{at: [3]int{i}, guessed: rng.IntN(6)}
			all = append(all, x)
			p.add(x, limit)
		}
		p.shorten(limit)
		slices.SortStableFunc(all, func(x, y step) int { return x.guessed - y.guessed })
		want := all[:min(limit, len(all))]
		slices.SortFunc(want, func(x, y step) int { return x.at[0] - y.at[0] })
		require.Equal(t, len(want), len(p.list))
		for i := range want {
			require.Equal(t, want[i], p.list[i])
		}
	}
}

func TestTooLarge(t *testing.T) {
	p, err := puzzle.Find("cube-7")
	require.NoError(t, err)
	m := newModel(p, puzzle.STM)
	m.types[0].n = 1000
	_, err = m.shelves(t.Context())
	require.ErrorIs(t, err, ErrTooLarge)
}
