package improve_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/coverage"
	"turnwright/search/goal"
	"turnwright/search/improve"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/variant"
)

func parse(t testing.TB, p *puzzle.Puzzle, text string) []puzzle.Turn {
	t.Helper()
	turns, err := notation.ParseTurns(p, text)
	require.NoError(t, err)
	return turns
}

// covered is a table with a few sequences and what follows from them.
func covered(t testing.TB, name, cycle string, m puzzle.Metric, keep int, texts ...string) *coverage.Table {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	g, err := goal.New(p, cycle, nil, nil)
	require.NoError(t, err)
	b, err := variant.NewBench(p, g, m)
	require.NoError(t, err)
	table := coverage.On(b, keep)
	for _, text := range texts {
		require.NoError(t, table.Add(parse(t, p, text), nil))
	}
	return table
}

func library(t testing.TB, tables ...*coverage.Table) *improve.Library {
	t.Helper()
	lib, err := improve.NewLibrary(tables[0].Bench.Puzzle, tables[0].Bench.Metric)
	require.NoError(t, err)
	for _, table := range tables {
		require.NoError(t, lib.Add(context.Background(), table))
	}
	return lib
}

// Corner 3-cycles of the 3x3x3 that are common practice.
var corners = []string{"R' D' R U' R' D R U", "R' F R' B2 R F' R' B2 R2", "R U R' D2 R U' R' D2", "R U R D2 R' U' R D2 R2"}

// random is a sequence of n turns of single outer layers, none on the line of the one before.
func random(p *puzzle.Puzzle, rng *rand.Rand, n int) []puzzle.Turn {
	var out []puzzle.Turn
	for len(out) < n {
		a := rng.IntN(len(p.Axes))
		line := p.Axes[a].Line
		if k := len(out); k > 0 && p.Axes[out[k-1].Axis].Line == line {
			continue
		}
		out = append(out, p.Tidy(puzzle.Turn{Axis: a, From: 1, To: 1, Amount: 1 + rng.IntN(p.Lines[line].Steps-1)}))
	}
	return out
}

// skeleton is a random solution, and a scramble that it solves but for what wrong does.
func skeleton(p *puzzle.Puzzle, rng *rand.Rand, n int, wrong []puzzle.Turn) (scramble, solution []puzzle.Turn) {
	solution = random(p, rng, n)
	return notation.Simplify(p, slices.Concat(wrong, puzzle.Invert(solution))), solution
}

// every lists all images and inverses of what a table keeps.
func every(p *puzzle.Puzzle, t testing.TB, table *coverage.Table) [][]puzzle.Turn {
	var out [][]puzzle.Turn
	seen := map[string]bool{}
	for _, class := range table.Bench.Catalog.Classes {
		best, err := table.Best(context.Background(), class.Index)
		require.NoError(t, err)
		for _, s := range best {
			for i := range p.Symmetries {
				turns := make([]puzzle.Turn, len(s.Turns))
				for j, turn := range s.Turns {
					turns[j] = p.Symmetries[i].Image(turn)
				}
				for _, v := range [][]puzzle.Turn{turns, puzzle.Invert(turns)} {
					if text := notation.Print(p, v); !seen[text] {
						seen[text] = true
						out = append(out, v)
					}
				}
			}
		}
	}
	return out
}

// bySlowTwin tries every sequence at every place, and sees whether the puzzle is
// solved: between any two turns, and with each turn split in two.
func bySlowTwin(p *puzzle.Puzzle, m puzzle.Metric, scramble, solution []puzzle.Turn, sequences [][]puzzle.Turn) int {
	perms := make([]puzzle.Perm, len(sequences))
	for i, s := range sequences {
		perms[i] = p.Apply(s)
	}
	best := -1
	try := func(before, after []puzzle.Turn) {
		first, last := p.Apply(slices.Concat(scramble, before)), p.Apply(after)
	next:
		for i, perm := range perms {
			for x, y := range first {
				if int(last[perm[y]]) != x {
					continue next
				}
			}
			n := notation.Length(p, m, notation.Simplify(p, slices.Concat(before, sequences[i], after)))
			if best < 0 || n < best {
				best = n
			}
		}
	}
	for i := range len(solution) + 1 {
		try(solution[:i], solution[i:])
		if i == len(solution) {
			break
		}
		for amount := 1; amount < p.Lines[p.Axes[solution[i].Axis].Line].Steps; amount++ {
			a, b := solution[i], solution[i]
			a.Amount, b.Amount = amount, b.Amount-amount
			if p.Cost(m, a)+p.Cost(m, b) <= p.Cost(m, solution[i])+1 {
				try(append(slices.Clone(solution[:i]), a), append([]puzzle.Turn{b}, solution[i+1:]...))
			}
		}
	}
	return best
}

func TestBestInsertionAgainstTheSlowTwin(t *testing.T) {
	table := covered(t, "3x3x3", "corner", puzzle.OBTM, 4, corners...)
	p := table.Bench.Puzzle
	start := time.Now()
	lib := library(t, table)
	t.Log(lib.Sequences(), "sequences in", time.Since(start))
	sequences := every(p, t, table)
	rng := rand.New(rand.NewPCG(4, 2026))
	for range 24 {
		wrong := sequences[rng.IntN(len(sequences))]
		scramble, solution := skeleton(p, rng, 10+rng.IntN(14), wrong)
		start := time.Now()
		got, err := lib.Insert(context.Background(), improve.Problem{Scramble: scramble, Solution: solution, Insertions: 1})
		require.NoError(t, err)
		fast := time.Since(start)
		start = time.Now()
		twin := bySlowTwin(p, puzzle.OBTM, scramble, solution, sequences)
		t.Log(len(solution), got.Results[0].Length, twin, fast, time.Since(start))
		assert.Equal(t, twin, got.Results[0].Length)
		assert.True(t, got.Exact)
	}
}
