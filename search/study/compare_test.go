package study

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/breadth"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

func read(t testing.TB, name, scramble string, solutions ...string) []*Study {
	t.Helper()
	var out []*Study
	for _, text := range solutions {
		s, err := Read(Question{Puzzle: find(t, name), Metric: puzzle.OBTM, Scramble: scramble, Solution: text})
		require.NoError(t, err)
		out = append(out, s)
	}
	return out
}

func TestBeginningsInCommon(t *testing.T) {
	for _, c := range []struct {
		puzzle, a, b string
		inA, inB     int
	}{
		{"3x3x3", "R U F", "R U B", 2, 2},
		{"3x3x3", "R U F", "R U F", 3, 3},
		{"3x3x3", "R U F", "R U F L", 3, 3},
		{"3x3x3", "R U F", "R2 U F", 0, 0},
		{"3x3x3", "R L U F", "L R U B", 3, 3},
		{"3x3x3", "R L U", "R U", 1, 1},
		{"3x3x3", "R U D F", "R D B", 1, 1},
		{"3x3x3", "R U D F", "R D U2 B", 1, 1},
		{"3x3x3", "R R U F", "R2 U B", 3, 2},
		{"3x3x3", "R U U' F", "R U U' B", 3, 3},
		{"3x3x3", "x R U F", "R F B", 3, 2},
		{"3x3x3", "Rw U", "L F", 2, 2},
		{"megaminx", "a d a", "a d b1", 2, 2},
	} {
		p := find(t, c.puzzle)
		turns := func(text string) []puzzle.Turn {
			out, err := notation.ParseTurns(p, text)
			require.NoError(t, err)
			return out
		}
		inA, inB := sharedTurns(p, turns(c.a), turns(c.b))
		assert.Equal(t, []int{c.inA, c.inB}, []int{inA, inB}, "%s, %s", c.a, c.b)
		inB, inA = sharedTurns(p, turns(c.b), turns(c.a))
		assert.Equal(t, []int{c.inA, c.inB}, []int{inA, inB}, "%s, %s", c.b, c.a)
	}
}

func TestSideBySide(t *testing.T) {
	studies := read(t, "3x3x3", "U2 L R' F2 L' R [U, R' D' R]",
		"[R' D' R, U] // corners\nR' L F2 R L' U2 // edges",
		"R' D' R U R' D' // nothing yet\nD R' L R D R U' R' L F2 R L' U2 L' // the rest")
	c, err := Compare(studies)
	require.NoError(t, err)
	require.Len(t, c.Solutions, 2)
	assert.True(t, c.Solutions[0].Solves)
	assert.Equal(t, "edges", c.Solutions[0].Stages[1].Name)
	assert.Equal(t, []Shared{{0, 1, 5, 7, "R' D' R U R'", 5}}, c.Shared)
}

// Stages are named by an explanation that comes to the same turns, by no other.
func TestAnExplanationNamesStages(t *testing.T) {
	p := find(t, "3x3x3")
	for _, c := range []struct {
		explanation string
		want        []string
	}{
		{"[R' D' R, U] // corners\nR' L F2 R L' U2 // edges", []string{"corners", "edges"}},
		{"R' D' R U R' D R U' // corners\nR' L F2 R L' U2 // edges", []string{"corners", "edges"}},
		{"R' D' R U R' D R U' // corners\nL F2 R L' U2 // edges", []string{"all"}},
		{"I saw three corners and then three edges.", []string{"all"}},
	} {
		s, err := Read(Question{
			Puzzle: p, Metric: puzzle.OBTM, Scramble: "U2 L R' F2 L' R [U, R' D' R]",
			Solution: "R' D' R U R' D R U' R' L F2 R L' U2 // all", Explanation: c.explanation,
		})
		require.NoError(t, err)
		a, err := s.Analyse()
		require.NoError(t, err)
		var got []string
		for _, stage := range a.Stages {
			got = append(got, stage.Name)
		}
		assert.Equal(t, c.want, got, c.explanation)
	}
}

func TestWhatCannotBeCompared(t *testing.T) {
	one := read(t, "3x3x3", "R U", "U' R'")[0]
	for _, c := range []struct {
		studies []*Study
		want    error
	}{
		{nil, ErrFew},
		{[]*Study{one}, ErrFew},
		{slices.Repeat([]*Study{one}, MaxCompared+1), ErrMany},
		{slices.Repeat(read(t, "3x3x3", "R U", "(R U F)^150"), 10), ErrLong},
		{read(t, "3x3x3", "", "R", "U"), ErrNoScramble},
		{[]*Study{one, read(t, "3x3x3", "R U2", "U2 R'")[0]}, ErrOther},
		{[]*Study{one, read(t, "2x2x2", "R U", "U' R'")[0]}, ErrOther},
	} {
		_, err := Compare(c.studies)
		assert.ErrorIs(t, err, c.want)
		assert.ErrorIs(t, Weigh(t.Context(), c.studies, Scales{}, nil), c.want)
	}
}

// weigh weighs without a limit on time, each once.
func weigh(t testing.TB, studies []*Study, with Scales) map[string]Weight {
	t.Helper()
	out := map[string]Weight{}
	require.NoError(t, Weigh(t.Context(), studies, with, func(w Weight) {
		out[fmt.Sprint(w.Goal, " ", w.Solution, ".", w.Stage)] = w
	}))
	return out
}

// fewest is the slow twin: the least cost of a sequence that brings home what is home after the
// stretch, however the whole is held, if that is less than what the stretch costs.
func (s stretch) fewest(t testing.TB, moves []breadth.Move) int {
	t.Helper()
	p := s.study.Puzzle
	start, _ := framed(p, s.before())
	best := s.length()
	after := p.Identity()
	err := breadth.Search{Moves: moves, Track: p.Identity(), Max: best - 1, Limit: 1e7}.Visit(func(position []uint16, d int) {
		if d >= best {
			return
		}
		for x := range after {
			after[x] = position[start[x]]
		}
		if s.isHome(after) {
			best = d
		}
	})
	require.NoError(t, err)
	return best
}

func (s stretch) isHome(at puzzle.Perm) bool {
	p := s.study.Puzzle
	if s.last() {
		return p.Solved(at)
	}
	return slices.ContainsFunc(p.Symmetries[:p.Rotations], func(sym puzzle.Symmetry) bool {
		for i, piece := range p.Pieces {
			for _, x := range piece.Stickers {
				if s.homes.pieces[s.to].has(i) && sym.Stickers[at[x]] != s.study.end[x] {
					return false
				}
			}
		}
		return true
	})
}

// What a stage could have cost is what the plain search over whole positions says.
func TestStagesAgainstBreadthFirst(t *testing.T) {
	for _, c := range []struct {
		puzzle string
		metric puzzle.Metric
		most   int // turns of a stage
		times  int
	}{
		{"2x2x2", puzzle.OBTM, 6, 6}, {"2x2x2", puzzle.QTM, 4, 3}, {"pyraminx", puzzle.OBTM, 5, 4}, {"skewb", puzzle.OBTM, 4, 3},
		{"3x3x3", puzzle.OBTM, 4, 4}, {"3x3x3", puzzle.STM, 3, 3}, {"3x3x3", puzzle.ETM, 3, 2}, {"4x4x4", puzzle.OBTM, 2, 1}, {"megaminx", puzzle.OBTM, 2, 2},
	} {
		t.Run(c.puzzle+" "+c.metric.String(), func(t *testing.T) {
			if testing.Short() && c.puzzle != "2x2x2" {
				t.Skip("the same with more pieces")
			}
			p := find(t, c.puzzle)
			moves := breadth.Moves(p, c.metric)
			rng := rand.New(rand.NewPCG(1, 2))
			shorter := 0
			for range c.times {
				var studies []*Study
				var scramble []puzzle.Turn
				for range 2 {
					var text strings.Builder
					var turns []puzzle.Turn
					for k := range 3 {
						stage := randomTurns(p, rng, 1+rng.IntN(c.most))
						if k == 2 && scramble != nil { // the other one's end: it begins elsewhere
							stage = append(puzzle.Invert(turns), puzzle.Invert(scramble)...)
						}
						turns = append(turns, stage...)
						fmt.Fprintf(&text, "%s // stage %d\n", notation.Print(p, stage), k)
					}
					if scramble == nil {
						scramble = puzzle.Invert(turns)
					}
					s, err := Read(Question{Puzzle: p, Metric: c.metric, Scramble: notation.Print(p, scramble), Solution: text.String()})
					require.NoError(t, err)
					require.True(t, s.Solves)
					studies = append(studies, s)
				}
				weights := map[string]Weight{}
				ctx, cancel := context.WithCancel(t.Context())
				require.NoError(t, Weigh(ctx, studies[:2], Scales{Memory: 1 << 20}, func(w Weight) {
					weights[fmt.Sprint(w.Goal, " ", w.Solution, ".", w.Stage)] = w
					if w.Solution == 0 && w.Goal == Brings && w.Stage == 2 {
						cancel() // the other's stages may be long
					}
				}))
				cancel()
				s := studies[0]
				h, from := s.homes(), 0
				for k, cut := range s.cuts(h) {
					st := stretch{s, h, from, cut.to}
					from = cut.to
					w, ok := weights[fmt.Sprint("brings 0.", k)]
					require.Equal(t, st.brings(), ok)
					if !ok {
						continue
					}
					want := st.fewest(t, moves)
					require.Equal(t, want, w.Length, "stage %d of %s", k, notation.Print(p, s.Turns))
					require.True(t, w.Proven())
					if want == st.length() {
						require.Empty(t, w.Turns)
						continue
					}
					shorter++
					turns, err := notation.ParseTurns(p, w.Turns)
					require.NoError(t, err)
					require.True(t, st.isHome(p.Apply(slices.Concat(st.before(), turns))))
				}
			}
			t.Logf("%d stages could have been shorter", shorter)
		})
	}
}

// On small puzzles the optimum of the whole is proven; a longer solution changes nothing.
func TestTheWhole(t *testing.T) {
	for _, c := range []struct{ puzzle, scramble, a, b string }{
		{"2x2x2", "R U R' F2", "F2 R U' R'", "F U2 U2 F R U' R'"},
		{"pyraminx", "a b1 b2 a'", "a b2' b1' a'", "a b2 b2 b1' a'"},
	} {
		studies := read(t, c.puzzle, c.scramble, c.b, c.a)
		got := weigh(t, studies, Scales{Memory: 1 << 20})["solves 1.0"]
		p := studies[0].Puzzle
		st := stretch{study: studies[1], from: 0, to: len(studies[1].Turns)}
		assert.True(t, got.Proven(), c.puzzle)
		assert.Equal(t, st.fewest(t, breadth.Moves(p, puzzle.OBTM)), got.Length, c.puzzle)
	}
}

// With a workshop each stage is held against all that does exactly the same.
func TestSameEffect(t *testing.T) {
	w := workshop(t, "3x3x3", puzzle.OBTM, 400_000)
	studies := read(t, "3x3x3", "R' U' F' R2 U'",
		"U R' // one\nR2 R F F' F U R // two", "U R2 F L L' U R // all")
	got := weigh(t, studies, Scales{Shop: w, Memory: 1 << 20})
	require.Contains(t, got, "same 0.1")
	two := got["same 0.1"]
	assert.Equal(t, []int{4, 4}, []int{two.Length, two.AtLeast}, "F U R and a turn of R")
	assert.Equal(t, "R' F U R", two.Turns)
	assert.Equal(t, Bound{2, "", 2}, got["same 0.0"].Bound)
}

// What was told before the time was over is true: nothing is called proven that isn't.
func TestTimeThatIsOver(t *testing.T) {
	studies := read(t, "3x3x3", "R' U' F L2 D B2 R U2 F' D2 L B R2 U' L' F2 D' R' U' F",
		"F' U R D F2 L U R2 B' L' D2 F U2 R' B2 D' L2 F' U R // all", "F' U R D F2 L U R2 B' L' D2 F U2 R' B2 D' L2 F' U R U U' // all")
	ctx, cancel := context.WithCancel(t.Context())
	var last Weight
	require.NoError(t, Weigh(ctx, studies, Scales{Memory: 1 << 20}, func(w Weight) {
		if last = w; w.Goal == Solves {
			cancel()
		}
	}))
	cancel()
	assert.Equal(t, Solves, last.Goal)
	assert.False(t, last.Proven())
	assert.Positive(t, last.AtLeast)
	assert.Less(t, last.AtLeast, 20)
	require.NoError(t, Weigh(ctx, studies, Scales{}, func(Weight) { t.Error("nothing is told once the time is over") }))
}
