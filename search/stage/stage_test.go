package stage

import (
	"math/rand/v2"
	"os"
	"slices"
	"testing"
	"time"

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

func TestSolves(t *testing.T) {
	full := os.Getenv("TURNWRIGHT_STAGES") == "full"
	only := os.Getenv("TURNWRIGHT_STAGES_OF")
	quick := []string{"cube-3", "tetrahedron", "vertex-cut-dodecahedron"}
	for _, d := range puzzle.Builtin() {
		if only != "" && d.Name != only || only == "" && !full && !slices.Contains(quick, d.Name) {
			continue
		}
		t.Run(d.Name, func(t *testing.T) {
			if testing.Short() && only == "" && d.Name == "vertex-cut-dodecahedron" {
				t.Skip("its tables take seconds")
			}
			p, err := puzzle.Find(d.Name)
			if err != nil {
				t.Fatal(err)
			}
			count := 2
			if full {
				count = 20
			}
			for _, metric := range []puzzle.Metric{puzzle.STM, puzzle.OBTM} {
				if !full && only == "" && metric == puzzle.OBTM && d.Name != "tetrahedron" {
					continue
				}
				check(t, p, metric, count)
			}
		})
	}
}

// check solves seeded scrambles and holds each solution against the slow evaluator.
func check(t *testing.T, p *puzzle.Puzzle, metric puzzle.Metric, count int) {
	begun := time.Now()
	s, err := New(t.Context(), p, Options{Metric: metric})
	if err != nil {
		t.Fatal(err)
	}
	built := time.Since(begun)
	for i, sh := range s.shelves {
		t.Logf("%s %s: stage %d, %s: all cycles %v", p.Name, metric, i, s.m.types[sh.typ].name, sh.whole)
	}
	var lengths []int
	var times []time.Duration
	for seed := range count {
		turns := scramble(p, rand.New(rand.NewPCG(uint64(seed), 7)))
		begun := time.Now()
		got, err := s.Solve(t.Context(), turns)
		if err != nil {
			t.Errorf("seed %d: %v", seed, err)
			continue
		}
		times = append(times, time.Since(begun))
		if !p.Solved(p.Apply(slices.Concat(turns, got.Turns))) {
			t.Errorf("seed %d: not solved", seed)
		}
		cost := 0
		for _, turn := range got.Turns {
			cost += p.Cost(metric, turn)
		}
		if cost != got.Length {
			t.Errorf("seed %d: length %d, turns cost %d", seed, got.Length, cost)
		}
		if seed == 0 {
			t.Logf("%v", got.Stages)
		}
		lengths = append(lengths, got.Length)
	}
	slices.Sort(lengths)
	slices.Sort(times)
	if len(lengths) > 0 {
		t.Logf("| %s | %s | solved %d of %d | median length %d | median time %v | built in %v |", p.Name, metric,
			len(lengths), count, lengths[len(lengths)/2], times[len(times)/2].Round(time.Millisecond), built.Round(time.Millisecond))
	}
}
