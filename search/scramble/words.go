package scramble

import (
	"fmt"
	"math/rand/v2"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Random words, for puzzles whose positions nothing writes down, or that are too large for
// a group. A word turns one block of
// adjacent layers after another, each about another line than the one before,
// and all words of one length are equally likely.
//
// How long is long enough is worked out, not guessed. Where one piece is after n
// turns is a Markov chain over its slots and the last line, so that its
// distribution can be had exactly, and how far it is from uniform (total
// variation: the most that the chance of any event differs). Once that is below
// closeEnough for every piece, n is when single pieces are mixed, and words are
// severalTimes as long, as several pieces together may take longer than one.
// The tests measure at growing lengths where three pieces of a type are; words
// are several times as long as those after which 20,000 samples can't be told
// from uniform. Where all turns change a parity, words of one length reach half of
// the positions only; so there is one turn more for every other word.
const (
	closeEnough  = 1e-3
	severalTimes = 3
	maxMixing    = 2000 // turns within which single pieces have to be mixed
)

type words struct {
	p      *puzzle.Puzzle
	blocks [][]puzzle.Turn // by line
	total  int             // of all lines
	length int             // in turns; one more for every other word
}

// newWords works out how long words have to be.
func newWords(p *puzzle.Puzzle) (words, error) {
	w, err := newRandom(p)
	if err != nil {
		return w, err
	}
	n, err := w.mixing()
	w.length = severalTimes * n
	return w, err
}

// newRandom makes words of any length.
func newRandom(p *puzzle.Puzzle) (words, error) {
	if len(p.Lines) < 2 {
		return words{}, fmt.Errorf("%s turns about one line only: there is nothing to scramble", p.Name)
	}
	w := words{p: p, blocks: make([][]puzzle.Turn, len(p.Lines))}
	for _, t := range blocks(p) {
		line := p.Axes[t.Axis].Line
		w.blocks[line] = append(w.blocks[line], t)
		w.total++
	}
	return w, nil
}

// way says how a word was drawn, and how far from uniform that is.
func (w words) way() string {
	return fmt.Sprintf("a random sequence of %d or %d turns, each about another line than the one before; not every position is equally likely, "+
		"but %d such turns already bring any one piece to within %g of that",
		w.length, w.length+1, w.length/severalTimes, closeEnough)
}

// draw draws a word.
func (w words) draw(rng *rand.Rand) []puzzle.Turn {
	return w.turns(rng, w.length+rng.IntN(2))
}

func (w words) turns(rng *rand.Rand, n int) []puzzle.Turn {
	out := make([]puzzle.Turn, 0, n)
	last := -1
	for range n {
		left := w.total
		if last >= 0 {
			left -= len(w.blocks[last])
		}
		pick := rng.IntN(left)
		for line, of := range w.blocks {
			if line == last {
				continue
			}
			if pick < len(of) {
				out = append(out, of[pick])
				last = line
				break
			}
			pick -= len(of)
		}
	}
	for i := range out {
		out[i] = notation.Canonical(w.p, out[i])
	}
	return out
}

// mixing is the number of turns after which any one piece is within closeEnough
// of uniform over the slots that turns of the frame take it to.
func (w words) mixing() (int, error) {
	most := 1
	for t := range w.p.Types {
		typ := &w.p.Types[t]
		moves := w.moves(typ)
		seen := make([]bool, len(typ.Slots))
		for slot := range seen {
			if seen[slot] {
				continue
			}
			reached := reach(moves, slot, seen)
			c := newChain(w, moves, slot, reached)
			n := 1
			for ; c.step() > closeEnough; n++ {
				if n == maxMixing {
					return 0, fmt.Errorf("nothing writes down positions of %s, and its pieces of type %s are still not mixed after %d random turns",
						w.p.Name, typ.Name, maxMixing)
				}
			}
			most = max(most, n)
		}
	}
	return most, nil
}

// moves lists, by line and block, where each slot of a type goes in the frame.
func (w words) moves(typ *puzzle.Type) [][][]int {
	out := make([][][]int, len(w.blocks))
	for line, of := range w.blocks {
		for _, t := range of {
			perm := framed(w.p, []puzzle.Turn{t})
			to := make([]int, len(typ.Slots))
			for s := range to {
				to[s] = typ.SlotImage(s, perm)
			}
			out[line] = append(out[line], to)
		}
	}
	return out
}

// reach marks the slots that moves take a slot to, and counts them.
func reach(moves [][][]int, slot int, seen []bool) int {
	seen[slot] = true
	queue := []int{slot}
	for i := 0; i < len(queue); i++ {
		for _, of := range moves {
			for _, to := range of {
				if s := to[queue[i]]; !seen[s] {
					seen[s] = true
					queue = append(queue, s)
				}
			}
		}
	}
	return len(queue)
}

// chain is the distribution of one piece.
type chain struct {
	w       words
	moves   [][][]int
	reached int         // slots that it can be in
	at      [][]float64 // by last line plus one (0: none yet) and slot
}

func newChain(w words, moves [][][]int, slot, reached int) *chain {
	c := &chain{w: w, moves: moves, reached: reached, at: make([][]float64, len(w.blocks)+1)}
	for i := range c.at {
		c.at[i] = make([]float64, len(moves[0][0]))
	}
	c.at[0][slot] = 1
	return c
}

// step does a turn more and tells how far the piece then is from uniform, after
// this turn or the one before with even odds.
func (c *chain) step() float64 {
	slots := len(c.at[0])
	next := make([][]float64, len(c.at))
	mean := make([]float64, slots)
	for i := range next {
		next[i] = make([]float64, slots)
	}
	for last, row := range c.at {
		left := c.w.total
		if last > 0 {
			left -= len(c.w.blocks[last-1])
		}
		for s, chance := range row {
			mean[s] += chance / 2
			if chance == 0 {
				continue
			}
			chance /= float64(left)
			for line, moves := range c.moves {
				if line == last-1 {
					continue
				}
				for _, to := range moves {
					next[line+1][to[s]] += chance
				}
			}
		}
	}
	for _, row := range next {
		for s, chance := range row {
			mean[s] += chance / 2
		}
	}
	c.at = next
	far := 0.0
	for _, chance := range mean {
		far += max(0, chance-1/float64(c.reached))
	}
	return far
}
