package solve_test

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/solve"
)

// Superflip needs 20 turns in OBTM (M. Reid, 1995) and 24 quarter turns. So every
// position on the way is exactly as far as there are turns left, and no table may say more.
func TestTablesAreAdmissibleAlongSuperflip(t *testing.T) {
	p := find(t, "cube-3")
	for _, c := range []struct {
		metric puzzle.Metric
		word   string
		length int
	}{
		{puzzle.OBTM, "U R2 F B R B2 R U2 L B2 R U' D' R2 F R' L B2 U2 F2", 20},
		{puzzle.QTM, "R' U2 B L' F U' B D F U D' L D2 F' R B' D F' U' B' U D'", 24},
	} {
		turns := parse(t, p, c.word)
		left := c.length
		for i := range turns {
			left -= p.Cost(c.metric, turns[i])
			q := solve.Question{Puzzle: p, Metric: c.metric, Start: puzzle.Invert(turns[i+1:]), Max: 24, Memory: 1 << 20}
			plan, tables := prepare(t, q)
			bound := plan.Bound(tables)
			assert.LessOrEqual(t, bound, left, "%d turns before the end", len(turns)-1-i)
			if left > 0 {
				assert.Positive(t, bound)
			}
		}
		assert.Zero(t, left)
	}
}

// R' L F2 R L' U2 cycles three edges in 6 turns in OBTM, 4 in STM (as M' U2 M U2),
// and nothing shorter does: common practice.
func TestGivenPermutation(t *testing.T) {
	p := find(t, "cube-3")
	cycle := p.Apply(parse(t, p, "R' L F2 R L' U2"))
	var wants []pattern.Want
	for i, piece := range p.Pieces {
		slots := p.Types[piece.Type].Slots
		to := slices.IndexFunc(slots, func(slot []uint16) bool { return slot[0] == cycle[piece.Stickers[0]] })
		wants = append(wants, pattern.Want{Piece: i, Slots: []int{to}})
	}
	for _, c := range []struct {
		metric puzzle.Metric
		want   int
	}{{puzzle.STM, 4}, {puzzle.OBTM, 6}} {
		t.Run(c.metric.String(), func(t *testing.T) {
			q := solve.Question{Puzzle: p, Metric: c.metric, Wants: wants, Max: 8, Memory: 1 << 20}
			plan, tables := prepare(t, q)
			answer, err := plan.Solve(context.Background(), tables, 2, nil)
			require.NoError(t, err)
			require.NotEmpty(t, answer.Solutions)
			for _, s := range answer.Solutions {
				assert.Equal(t, c.want, s.Length)
				_, rotation := p.ToFrame(s.Turns)
				assert.Equal(t, cycle.Then(p.Symmetries[rotation].Stickers), p.Apply(s.Turns), s.Text)
			}
		})
	}
}

// Pretty patterns of the 3x3x3 whose least number of turns is well known (from
// memory; M. Reid's list of patterns, 1990s): each is as long as given here, and
// no shorter.
func TestKnownPatterns(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	p := find(t, "cube-3")
	for _, c := range []struct {
		name, word string
		metric     puzzle.Metric
		length     int
	}{
		{"pons asinorum", "U2 D2 R2 L2 F2 B2", puzzle.OBTM, 6},
		{"pons asinorum", "U2 D2 R2 L2 F2 B2", puzzle.QTM, 12},
		{"six spots", "U D' R L' F B' U D'", puzzle.OBTM, 8},
		{"six spots", "U D' R L' F B' U D'", puzzle.QTM, 8},
		{"four spots", "F2 B2 U D' R2 L2 U D'", puzzle.OBTM, 8},
	} {
		t.Run(c.name+" "+c.metric.String(), func(t *testing.T) {
			q := solve.Question{Puzzle: p, Metric: c.metric, Start: parse(t, p, c.word), Max: 12, Memory: 4 << 20, Limit: 1}
			assert.Equal(t, c.length, shortest(t, q))
		})
	}
}
