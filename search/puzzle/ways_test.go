package puzzle_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// The slow twin of SyllableCost: every choice of up to four blocks of a line, in
// no order as they commute, added up layer by layer. No syllable of these lines
// needs more: one block for each layer that turns, and there are at most four.
func TestSyllableCostAgainstAllBlocks(t *testing.T) {
	for _, name := range []string{"2x2x2", "3x3x3", "4x4x4", "5x5x5", "skewb", "pyraminx", "edge-cube", "vertex-cut-dodecahedron", "centre-cut-dodecahedron"} {
		p, err := puzzle.Find(name)
		require.NoError(t, err)
		for _, m := range puzzle.Metrics() {
			t.Run(fmt.Sprint(name, " ", m), func(t *testing.T) {
				best := cheapestBlocks(p, m)
				syllables := p.Syllables(0)
				require.Len(t, best, len(syllables)+1)
				for _, s := range syllables {
					require.Equal(t, best[fmt.Sprint(s.Amounts)], p.SyllableCost(m, s), "%v", s)
				}
			})
		}
	}
}

// cheapestBlocks tells the least cost of amounts of line 0's layers, relative to
// the reference layer, over all choices of blocks.
func cheapestBlocks(p *puzzle.Puzzle, m puzzle.Metric) map[string]int {
	l := p.Lines[0]
	var blocks []puzzle.Turn
	for from := 1; from <= l.Layers; from++ {
		for to := from; to <= l.Layers; to++ {
			for amount := 1; amount < l.Steps && to-from+1 < l.Layers; amount++ {
				blocks = append(blocks, puzzle.Turn{Axis: 0, From: from, To: to, Amount: amount})
			}
		}
	}
	best := map[string]int{}
	amounts := make([]int, l.Layers)
	var choose func(first, left, cost int)
	choose = func(first, left, cost int) {
		relative := make([]int, l.Layers)
		for k := range amounts {
			relative[k] = ((amounts[k]-amounts[l.Reference])%l.Steps + l.Steps) % l.Steps
		}
		key := fmt.Sprint(relative)
		if known, ok := best[key]; !ok || cost < known {
			best[key] = cost
		}
		if left == 0 {
			return
		}
		for i := first; i < len(blocks); i++ {
			for k := blocks[i].From - 1; k < blocks[i].To; k++ {
				amounts[k] += blocks[i].Amount
			}
			choose(i, left-1, cost+p.Cost(m, blocks[i]))
			for k := blocks[i].From - 1; k < blocks[i].To; k++ {
				amounts[k] -= blocks[i].Amount
			}
		}
	}
	choose(0, min(l.Layers-1, 4), 0)
	return best
}

// Of turns that cost the same, people get those that are easiest to do.
func TestWaysPeopleTurn(t *testing.T) {
	for _, c := range []struct {
		name   string
		puzzle string
		metric puzzle.Metric
		turns  []string // axis from to amount
		want   []string
	}{
		{"a slice is two turns in OBTM, as in R L'", "3x3x3", puzzle.OBTM, []string{"R 2 2 1"}, []string{"R 1 1 -1", "L 1 1 1"}},
		{"and one in STM", "3x3x3", puzzle.STM, []string{"R 1 1 -1", "L 1 1 1"}, []string{"R 2 2 1"}},
		{"a block of two layers is the layer opposite", "3x3x3", puzzle.STM, []string{"R 1 2 1"}, []string{"L 1 1 1"}},
		{"a block of three layers too", "4x4x4", puzzle.STM, []string{"U 1 3 1"}, []string{"D 1 1 1"}},
		{"two layers of four keep the side that is turned", "4x4x4", puzzle.STM, []string{"U 1 2 1"}, []string{"U 1 2 1"}},
		{"an inner layer is two blocks in OBTM", "4x4x4", puzzle.OBTM, []string{"U 2 2 1"}, []string{"U 1 1 -1", "U 1 2 1"}},
		{"a full circle is nothing", "3x3x3", puzzle.STM, []string{"R 1 1 3", "R 1 1 1"}, nil},
		{"a tetrahedron's corner is turned, not the face opposite", "pyraminx", puzzle.STM, []string{"b3 3 3 1"}, []string{"b3 1 2 -1"}},
		{"its tip alone", "pyraminx", puzzle.OBTM, []string{"b3 2 3 1"}, []string{"b3 1 1 -1"}},
		{"turns of one line are sorted out", "3x3x3", puzzle.STM, []string{"R 1 1 1", "L 1 1 2", "R 1 1 1"}, []string{"R 2 2 2"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := puzzle.Find(c.puzzle)
			require.NoError(t, err)
			word, _ := p.ToFrame(read(t, p, c.turns))
			turns, _ := p.FromFrame(c.metric, word)
			assert.ElementsMatch(t, read(t, p, c.want), turns)
		})
	}
}

func read(t *testing.T, p *puzzle.Puzzle, texts []string) []puzzle.Turn {
	var out []puzzle.Turn
	for _, text := range texts {
		var axis string
		var from, to, amount int
		_, err := fmt.Sscan(text, &axis, &from, &to, &amount)
		require.NoError(t, err)
		out = append(out, on(p, axis, from, to, amount))
	}
	return out
}
