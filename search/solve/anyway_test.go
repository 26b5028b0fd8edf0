package solve_test

import (
	"context"
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/breadth"
	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/solve"
)

// Where nothing that counts marks the core, the twin asks for the nearest of all
// ways in which the whole can be turned against it, and counts the words of that
// length one by one.
func TestAnyWay(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	for _, c := range []struct {
		puzzle string
		ignore []string
		depth  int
	}{
		{"vertex-cube", nil, 4},
		{"cube-2", nil, 4}, // a piece marks it
		{"cube-3", []string{"centre"}, 3},
		{"cube-3", []string{"centre", "edge"}, 3},
		{"tetrahedron", []string{"corner"}, 4},
	} {
		t.Run(fmt.Sprint(c.puzzle, c.ignore), func(t *testing.T) {
			p := find(t, c.puzzle)
			wants, err := solve.Target(p, c.ignore, nil, false)
			require.NoError(t, err)
			s := breadth.Search{Moves: breadth.Moves(p, puzzle.OBTM), Max: c.depth, Limit: 1e6}
			for _, w := range wants {
				for _, x := range p.Pieces[w.Piece].Stickers {
					s.Track = append(s.Track, uint16(x))
				}
			}
			known := map[string]int{}
			require.NoError(t, s.Visit(func(position []uint16, distance int) { known[fmt.Sprint(position)] = distance }))
			// nearest is the least distance of what takes home the position in which the whole is turned.
			nearest := func(perm puzzle.Perm) (int, bool) {
				least, found := c.depth+1, false
				for r := range p.Rotations {
					undo := p.Symmetries[p.Symmetries[r].Inverse].Stickers
					var position []uint16
					for _, x := range s.Track {
						position = append(position, perm[undo[x]])
					}
					if d, ok := known[fmt.Sprint(position)]; ok && d < least {
						least, found = d, true
					}
				}
				return least, found
			}
			rapid.Check(t, func(t *rapid.T) {
				start := rapid.SliceOfN(turn(p), 0, c.depth).Draw(t, "start")
				perm := inFrame(p, start)
				want, ok := nearest(perm)
				if !ok {
					t.Skip("farther than the plain search went")
				}
				q := solve.Question{Puzzle: p, Metric: puzzle.OBTM, Start: start, Wants: wants, AnyWay: true, Max: c.depth, Memory: 1 << 20}
				plan, tables := prepare(t, q)
				require.False(t, plan.Narrow)
				answer, err := plan.Solve(context.Background(), tables, 1, nil)
				require.NoError(t, err)
				require.Equal(t, want, answer.Covered)
				for _, s := range answer.Solutions {
					require.NoError(t, solve.Verify(q, s))
				}
				if want <= 2 || want == 3 && !testing.Short() {
					require.Len(t, answer.Solutions, countWords(plan, wants, perm, want))
				}
			})
		})
	}
}

// countWords counts the canonical words of a length that bring all pieces home
// from a position, however the whole is turned then.
func countWords(plan *solve.Plan, wants []pattern.Want, from puzzle.Perm, length int) int {
	p, a := plan.Question.Puzzle, plan.Alphabet
	home := func(perm puzzle.Perm) bool {
		for r := range p.Rotations {
			turned := perm.Then(p.Symmetries[r].Stickers)
			if !slices.ContainsFunc(wants, func(w pattern.Want) bool {
				return slices.ContainsFunc(p.Pieces[w.Piece].Stickers, func(x int) bool { return int(turned[x]) != x })
			}) {
				return true
			}
		}
		return false
	}
	var count func(perm puzzle.Perm, state int32, left int) int
	count = func(perm puzzle.Perm, state int32, left int) int {
		if left == 0 {
			if home(perm) {
				return 1
			}
			return 0
		}
		n := 0
		for i, l := range a.Letters {
			if to := a.Next(state, i); to >= 0 && l.Cost <= left {
				n += count(perm.Then(p.SyllablePerm(l.Syllable)), to, left-l.Cost)
			}
		}
		return n
	}
	return count(from, a.Start(), length)
}

// Pins that say what a random word does are met by a word no longer than that, and
// as short as the plain search says, the whole turned in whatever way.
func TestPinsOfAWord(t *testing.T) {
	for _, name := range []string{"cube-2", "vertex-cube", "cube-3"} {
		t.Run(name, func(t *testing.T) {
			if testing.Short() && name == "vertex-cube" {
				t.Skip("the plain search takes seconds of one goroutine")
			}
			p := find(t, name)
			known := plain(t, p, puzzle.OBTM, 3)
			rapid.Check(t, func(t *rapid.T) {
				turns := rapid.SliceOfN(turn(p), 1, 3).Draw(t, "turns")
				perm := p.Apply(turns)
				if name == "cube-3" {
					perm = inFrame(p, turns) // centres can't be pinned elsewhere but with the whole
				}
				least := 4
				for r := range p.Rotations {
					if d, ok := known[fmt.Sprint([]uint16(perm.Then(p.Symmetries[r].Stickers)))]; ok {
						least = min(least, d)
					}
				}
				if least > 3 {
					t.Skip("inner layers cost more")
				}
				wants, err := solve.Target(p, nil, pinsOf(p, perm), false)
				require.NoError(t, err)
				q := solve.Question{Puzzle: p, Metric: puzzle.OBTM, Wants: wants, AnyWay: true, Max: 3, Memory: 1 << 20}
				require.Equal(t, least, shortest(t, q))
			})
		})
	}
}

// pinsOf says where a permutation takes every piece.
func pinsOf(p *puzzle.Puzzle, perm puzzle.Perm) []solve.Pin {
	var pins []solve.Pin
	for _, piece := range p.Pieces {
		typ := &p.Types[piece.Type]
		to := slices.IndexFunc(typ.Slots, func(slot []uint16) bool {
			for k, x := range piece.Stickers {
				if perm[x] != slot[k] {
					return false
				}
			}
			return true
		})
		pins = append(pins, solve.Pin{Piece: typ.Labels[piece.Home], At: typ.Labels[to]})
	}
	return pins
}

func TestTargetsThatMakeNoSense(t *testing.T) {
	p := find(t, "cube-3")
	for _, c := range []struct {
		ignore []string
		pins   []solve.Pin
		want   string
	}{
		{[]string{"wing"}, nil, `no piece type "wing": it has centre, corner, edge`},
		{[]string{"edge", "corner", "centre"}, nil, "nothing is left"},
		{nil, []solve.Pin{{"UX", "UF"}}, `no slot "UX"`},
		{nil, []solve.Pin{{"UF", ""}}, `no slot ""`},
		{nil, []solve.Pin{{"UF", "UFR"}}, "a piece of type edge is never at a place of type corner"},
		{[]string{"edge"}, []solve.Pin{{"UF", "UR"}}, "pieces of type edge are ignored"},
		{nil, []solve.Pin{{"UF", "UR"}, {"FU", "UB"}}, "another pin says where that piece must be"},
		{nil, []solve.Pin{{"UF", "UR"}, {"UR", "UL"}, {"UB", "RU"}}, "can't both be at UR"},
		{nil, []solve.Pin{{"UF", "UR"}}, "sends the piece UF to the home of UR: pin UR too"},
	} {
		_, err := solve.Target(p, c.ignore, c.pins, false)
		assert.ErrorContains(t, err, c.want)
	}
}

// Parity and the sum of twists forbid these on the 3x3x3, 4x4x4 and 2x2x2: common
// knowledge. The ones that are allowed differ by just what they lack.
func TestWhatNoSequenceDoesIsRefused(t *testing.T) {
	swap := []solve.Pin{{"UF", "UR"}, {"UR", "UF"}}
	for _, c := range []struct {
		puzzle string
		ignore []string
		pins   []solve.Pin
		want   string // empty where it can be done
	}{
		{"cube-3", nil, swap, "no sequence does this, however long: UF to UR and UR to UF, all other pieces at home"},
		{"cube-3", []string{"corner"}, swap, ""},
		{"cube-3", nil, append([]solve.Pin{{"UFR", "UBR"}, {"UBR", "UFR"}}, swap...), ""},
		{"cube-3", nil, []solve.Pin{{"UF", "FU"}}, "UF to FU"},
		{"cube-3", []string{"corner", "centre"}, []solve.Pin{{"UF", "FU"}}, "the ignored ones aside"},
		{"cube-3", nil, []solve.Pin{{"UF", "FU"}, {"UR", "RU"}}, ""},
		{"cube-3", nil, []solve.Pin{{"UFR", "RUF"}}, "URF to RFU"},
		{"cube-3", nil, []solve.Pin{{"U", "F"}, {"F", "U"}}, "U to F and F to U"},
		{"cube-2", nil, []solve.Pin{{"UFR", "UBR"}, {"UBR", "UFR"}}, ""},
		{"cube-2", nil, []solve.Pin{{"UFR", "RUF"}}, "URF to RFU"},
	} {
		t.Run(fmt.Sprint(c.puzzle, c.ignore, c.pins), func(t *testing.T) {
			p := find(t, c.puzzle)
			wants, err := solve.Target(p, c.ignore, c.pins, false)
			require.NoError(t, err)
			_, err = solve.NewPlan(solve.Question{Puzzle: p, Metric: puzzle.OBTM, Wants: wants, AnyWay: true, Max: 20, Memory: 1 << 20})
			if c.want == "" {
				assert.NoError(t, err)
				return
			}
			require.ErrorIs(t, err, solve.ErrUnreachable)
			assert.ErrorContains(t, err, c.want)
		})
	}
}
