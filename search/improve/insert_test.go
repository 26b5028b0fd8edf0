package improve_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"

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

// 3-cycles that are common practice; that of the demo puzzle is this program's.
var (
	corners   = []string{"R' D' R U' R' D R U", "R' F R' B2 R F' R' B2 R2", "R U R' D2 R U' R' D2", "R U R D2 R' U' R D2 R2"}
	edges     = []string{"2.L2 U 2.L U2 2.L' U 2.L2", "R' L F2 R L' U2"}
	wings     = []string{"[2.R, [U, R]]"}
	triangles = []string{"2.a c2^-2 a c2^2 2.a' c2^-2 a' c2^2", "2.a c2^2 a c2^-2 2.a' c2^2 a' c2^-2"}
)

// On every puzzle the best insertion into skeletons that leave a 3-cycle is that of
// the slow twin: 24 of them with corners of the 3x3x3.
func TestBestInsertionAgainstTheSlowTwin(t *testing.T) {
	for _, c := range []struct {
		puzzle, cycle string
		metric        puzzle.Metric
		keep          int
		known         []string
		skeletons     int
		turns         int // of a skeleton at least; up to 14 more
	}{
		{"3x3x3", "corner", puzzle.OBTM, 4, corners, 24, 8},
		{"3x3x3", "corner", puzzle.QTM, 1, corners, 4, 8},
		{"3x3x3", "edge", puzzle.OBTM, 1, edges, 4, 8},
		{"3x3x3", "edge", puzzle.STM, 1, edges, 4, 8},
		{"2x2x2", "corner", puzzle.OBTM, 1, corners[:1], 4, 4},
		{"4x4x4", "wing", puzzle.OBTM, 1, wings, 2, 4},
		{"vertex-cut-dodecahedron", "triangle", puzzle.STM, 1, triangles, 1, 1},
	} {
		t.Run(c.puzzle+" "+c.cycle+" "+c.metric.String(), func(t *testing.T) {
			if testing.Short() {
				if c.skeletons < 24 {
					t.Skip("takes seconds")
				}
				c.keep, c.skeletons = 1, 2
			}
			table := covered(t, c.puzzle, c.cycle, c.metric, c.keep, c.known...)
			p := table.Bench.Puzzle
			lib, slow := library(t, table), newTwin(t, table)
			rng := rand.New(rand.NewPCG(4, 2026))
			saved := 0
			for range c.skeletons {
				wrong := slow.sequences[rng.IntN(len(slow.sequences))]
				scramble, solution := skeleton(p, rng, c.turns+rng.IntN(15), wrong.Turns)
				got, err := lib.Insert(context.Background(), improve.Problem{Scramble: scramble, Solution: solution, Insertions: 1})
				require.NoError(t, err)
				assert.Equal(t, slow.one(scramble, solution), got.Results[0].Length)
				assert.True(t, got.Exact)
				saved += got.Length + got.Results[0].Insertions[0].Length - got.Results[0].Length
				checked(t, lib, p, c.metric, scramble, got)
			}
			t.Logf("%d sequences; %d turns cancelled in %d skeletons", lib.Sequences(), saved, c.skeletons)
		})
	}
}

// checked holds what results say against their text.
func checked(t *testing.T, lib *improve.Library, p *puzzle.Puzzle, m puzzle.Metric, scramble []puzzle.Turn, got improve.Results) {
	t.Helper()
	w := twin{p: p, m: m}
	last := improve.Result{}
	for _, r := range got.Results {
		assert.True(t, w.solved(product{p.Apply(slices.Concat(scramble, parse(t, p, r.Solution))), p.Identity(), p.Identity()}), r.Solution)
		assert.Equal(t, r.Length, notation.Length(p, m, parse(t, p, r.Solution)))
		assert.GreaterOrEqual(t, r.Length, last.Length)
		assert.NotEqual(t, last.Solution, r.Solution)
		length := got.Length
		for i, in := range r.Insertions {
			whole := slices.Concat(parse(t, p, in.Before), parse(t, p, in.Sequence), parse(t, p, in.After))
			length += in.Net
			assert.Equal(t, in.Length, notation.Length(p, m, parse(t, p, in.Sequence)))
			if i == len(r.Insertions)-1 {
				assert.True(t, w.solved(product{p.Apply(slices.Concat(scramble, whole)), p.Identity(), p.Identity()}), "%+v", in)
			}
		}
		assert.Equal(t, r.Length, length, "%+v", r)
		last = r
	}
}

// Skeletons that leave five corners or two pairs, twists, or corners and edges wrong: looked
// for together, the insertions are never longer than one at a time, and often shorter.
func TestSeveralInsertions(t *testing.T) {
	cornerTable := covered(t, "3x3x3", "corner", puzzle.OBTM, 2, corners...)
	edgeTable := covered(t, "3x3x3", "edge", puzzle.OBTM, 2, edges...)
	p := cornerTable.Bench.Puzzle
	lib := library(t, cornerTable, edgeTable)
	for _, c := range []struct {
		name, wrong string
		insertions  int
	}{
		{"a 5-cycle of corners", "[R' D' R, U'] [U2: [R' D' R, U']]", 2},
		{"two swaps of corners", "[R' D' R, U'] [D: [R' D' R, U']]", 2},
		{"two corners twisted", "[R' D' R D R' D' R D, U]", 2},
		{"a cycle of corners and one of edges", "[R' D' R, U'] [F2: [2.L', U2]]", 2},
		{"a 5-cycle of edges", "[2.L', U2] [F: [2.L', U2]]", 2},
		{"a 5-cycle of edges and a cycle of corners", "[2.L', U2] [D F: [2.L', U2]] [R' D' R, U']", 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			if testing.Short() && c.name != "a 5-cycle of corners" {
				t.Skip("takes seconds")
			}
			rng := rand.New(rand.NewPCG(4, 2026))
			together, greedy := 0, 0
			for range 3 {
				scramble, solution := skeleton(p, rng, 15, parse(t, p, c.wrong))
				pr := improve.Problem{Scramble: scramble, Solution: solution, Insertions: c.insertions, Beam: 100}
				got, err := lib.Insert(context.Background(), pr)
				require.NoError(t, err)
				checked(t, lib, p, puzzle.OBTM, scramble, got)
				assert.Len(t, got.Results[0].Insertions, c.insertions)
				pr.Beam = 1
				one, err := lib.Insert(context.Background(), pr)
				require.NoError(t, err)
				assert.LessOrEqual(t, got.Results[0].Length, one.Results[0].Length)
				together += got.Results[0].Length
				greedy += one.Results[0].Length
			}
			t.Logf("together %d, one at a time %d", together, greedy)
			pr := improve.Problem{Solution: parse(t, p, c.wrong), Insertions: c.insertions - 1}
			if pr.Insertions > 0 {
				_, err := lib.Insert(context.Background(), pr)
				assert.ErrorIs(t, err, improve.ErrNoWay, "fewer won't do")
			}
		})
	}
}

// Where nothing falls off the beam two insertions are as good as those of the slow
// twin, which puts every sequence at every place and then does so again.
func TestTwoInsertionsAgainstTheSlowTwin(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	table := covered(t, "3x3x3", "corner", puzzle.OBTM, 1, corners[0])
	p := table.Bench.Puzzle
	lib, slow := library(t, table), newTwin(t, table)
	rng := rand.New(rand.NewPCG(4, 2026))
	for _, c := range []struct {
		wrong string
		turns int
	}{
		{"[R' D' R, U'] [U2: [R' D' R, U']]", 4}, // a 5-cycle
		{"[R' D' R, U'] [D: [R' D' R, U']]", 1},  // two swaps
	} {
		scramble, solution := skeleton(p, rng, c.turns, parse(t, p, c.wrong))
		got, err := lib.Insert(context.Background(), improve.Problem{Scramble: scramble, Solution: solution, Insertions: 2, Beam: improve.MaxBeam})
		require.NoError(t, err)
		require.True(t, got.Exact)
		checked(t, lib, p, puzzle.OBTM, scramble, got)
		best, seen := -1, map[string]bool{}
		slow.each(scramble, solution, func(before []puzzle.Turn, s variant.Sequence, after []puzzle.Turn, does product) {
			moved := 0 // stickers; a 3-cycle of corners moves 9
			for x := range p.Stickers {
				if does.at(x) != x {
					moved++
				}
			}
			if moved > 9 {
				return
			}
			if _, ok := goal.Judge(p, table.Bench.Goal, does.perm()); !ok {
				return
			}
			once := notation.Simplify(p, slices.Concat(before, s.Turns, after))
			if text := notation.Print(p, once); !seen[text] {
				seen[text] = true
				if n := slow.one(scramble, once); best < 0 || n < best {
					best = n
				}
			}
		})
		assert.Equal(t, best, got.Results[0].Length)
		t.Logf("%s: %d turns with both, after %d ways to put in the first", c.wrong, best, len(seen))
	}
}

func TestWhatCannotBeMended(t *testing.T) {
	table := covered(t, "3x3x3", "corner", puzzle.OBTM, 1, corners[0])
	p := table.Bench.Puzzle
	lib := library(t, table)
	long := random(p, rand.New(rand.NewPCG(1, 1)), 3*improve.MaxTurns)
	for _, c := range []struct {
		what string
		pr   improve.Problem
		want string
	}{
		{"solved", improve.Problem{Scramble: parse(t, p, "R U F"), Solution: parse(t, p, "F' U' R' x"), Insertions: 1}, "leaves nothing wrong"},
		{"much wrong", improve.Problem{Scramble: parse(t, p, "R U F"), Insertions: 3}, "more than 9 pieces"},
		{"edges", improve.Problem{Scramble: parse(t, p, "[2.L', U2]"), Insertions: 3}, "edge: 3 wrong, which up to 3 3-cycles of the types"},
		{"odd", improve.Problem{Scramble: parse(t, p, "R U R' U' R' F R2 U' R' U' R U R' F'"), Insertions: 3}, "corner: 2, edge: 2 wrong"},
		{"long", improve.Problem{Solution: long, Insertions: 1}, "more than 200 turns"},
		{"none", improve.Problem{}, "use 1 to 3"},
		{"beam", improve.Problem{Insertions: 1, Beam: -1}, "a beam of"},
		{"limit", improve.Problem{Insertions: 1, Limit: improve.MaxLimit + 1}, "results: use"},
	} {
		_, err := lib.Insert(context.Background(), c.pr)
		assert.ErrorContains(t, err, c.want, c.what)
	}
	_, err := library(t, covered(t, "3x3x3", "corner", puzzle.OBTM, 1)).
		Insert(context.Background(), improve.Problem{Scramble: parse(t, p, corners[0]), Insertions: 1})
	assert.ErrorContains(t, err, "the library has no sequence")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err = lib.Insert(ctx, improve.Problem{Scramble: parse(t, p, corners[0]), Insertions: 1})
	assert.ErrorIs(t, err, context.Canceled)
}

// What moves other pieces too can't mend a solution.
func TestOnlyPureSequencesAreTaken(t *testing.T) {
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	g, err := goal.New(p, "corner", nil, []string{"edge"})
	require.NoError(t, err)
	table, err := coverage.New(p, g, puzzle.OBTM)
	require.NoError(t, err)
	require.NoError(t, table.Add(parse(t, p, corners[0]+" "+edges[1]), nil))
	lib, err := improve.NewLibrary(p, puzzle.OBTM)
	require.NoError(t, err)
	assert.ErrorContains(t, lib.Add(context.Background(), table), "moves pieces of other types")
	twice := covered(t, "3x3x3", "corner", puzzle.OBTM, 1, corners[0])
	lib = library(t, twice)
	assert.ErrorContains(t, lib.Add(context.Background(), twice), "already")
	other := covered(t, "2x2x2", "corner", puzzle.OBTM, 1, corners[0])
	assert.ErrorContains(t, lib.Add(context.Background(), other), "can't be added to a library of")
}
