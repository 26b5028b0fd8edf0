package isolate

import (
	"fmt"
	"slices"

	"turnwright/search/puzzle"
)

// letter is what a person does about one line between turns of other lines.
//
// The amounts are those of all layers, with that of the reference layer: R L' and
// the turn of the middle layer are two letters, though in the frame they are one,
// as commutators with them differ. Of the ways to come to the same in the frame
// only the cheapest are letters.
type letter struct {
	line    int
	amounts []int // by layer from the near end, 0..Steps-1
	turns   []puzzle.Turn
	cost    int
	inverse int // index of the letter that undoes it
}

// alphabet is all letters up to some cost, by cost, then by line.
type alphabet struct {
	letters []letter
	index   map[string]int
	images  [][]int // by symmetry that keeps the goal: where it carries each letter
}

// maxLetters bounds an alphabet.
const maxLetters = 20_000

// alphabet lists the letters up to a cost.
func (b *Bench) alphabet(most int) (*alphabet, error) {
	a := &alphabet{index: map[string]int{}}
	for line := range b.p.Lines {
		letters := b.lettersOf(line, most)
		if a.letters = append(a.letters, letters...); len(a.letters) > maxLetters {
			return nil, fmt.Errorf("puzzle %s has more than %d different things to do about one line within length %d: ask for shorter parts", b.p.Name, maxLetters, most)
		}
	}
	slices.SortStableFunc(a.letters, func(x, y letter) int { return x.cost - y.cost })
	for i, l := range a.letters {
		a.index[keyOf(l.line, l.amounts)] = i
	}
	for i := range a.letters {
		l := &a.letters[i]
		undo := make([]int, len(l.amounts))
		for k, amount := range l.amounts {
			undo[k] = -amount
		}
		l.inverse = a.index[b.key(l.line, undo)]
	}
	for _, s := range b.goal.Symmetries(b.p) {
		row := make([]int, len(a.letters))
		for i, l := range a.letters {
			row[i] = a.index[b.imageKey(&b.p.Symmetries[s], l)]
		}
		a.images = append(a.images, row)
	}
	return a, nil
}

// keyOf names what is done about a line. Large puzzles have tens of thousands of such keys, each asked for often.
func keyOf(line int, amounts []int) string {
	key := []byte{byte(line)}
	for _, a := range amounts {
		key = append(key, byte(a)) // less than a line's steps
	}
	return string(key)
}

// key is keyOf for amounts of any size.
func (b *Bench) key(line int, amounts []int) string {
	steps := b.p.Lines[line].Steps
	for k, a := range amounts {
		amounts[k] = ((a % steps) + steps) % steps
	}
	return keyOf(line, amounts)
}

// imageKey is the key of the letter that a symmetry carries a letter to.
func (b *Bench) imageKey(s *puzzle.Symmetry, l letter) string {
	near := slices.IndexFunc(b.p.Axes, func(a puzzle.Axis) bool { return a.Line == l.line && !a.Far })
	to := b.p.Axes[s.Axes[near]]
	out := slices.Clone(l.amounts)
	if to.Far {
		slices.Reverse(out)
	}
	if s.Reflection != to.Far { // each of them turns the sense round
		for k := range out {
			out[k] = -out[k]
		}
	}
	return b.key(to.Line, out)
}

// lettersOf lists the letters of a line in order of cost: sums of block turns.
func (b *Bench) lettersOf(line, most int) []letter {
	type way struct {
		amounts []int
		turns   []puzzle.Turn
	}
	l := b.p.Lines[line]
	blocks := b.blocks(line)
	known := map[string]bool{keyOf(line, make([]int, l.Layers)): true}
	ways := [][]way{{{amounts: make([]int, l.Layers)}}} // by cost
	var out []letter
	for cost := 1; cost <= most; cost++ {
		ways = append(ways, nil)
		for _, t := range blocks {
			c := b.p.Cost(b.metric, t)
			if c > cost {
				continue
			}
			for _, w := range ways[cost-c] {
				amounts := slices.Clone(w.amounts)
				for k := t.From - 1; k < t.To; k++ {
					amounts[k] = (amounts[k] + t.Amount) % l.Steps
				}
				key := keyOf(line, amounts)
				if known[key] {
					continue
				}
				known[key] = true
				w := way{amounts, append(slices.Clone(w.turns), b.p.Tidy(t))}
				ways[cost] = append(ways[cost], w)
				if b.frameCost(line, amounts) == cost {
					out = append(out, letter{line: line, amounts: amounts, turns: w.turns, cost: cost})
				}
			}
		}
		if len(out) > maxLetters {
			break
		}
	}
	return out
}

// frameCost is what amounts cost where a rotation of the whole costs nothing.
func (b *Bench) frameCost(line int, amounts []int) int {
	l := b.p.Lines[line]
	s := puzzle.Syllable{Line: line, Amounts: make([]int, len(amounts))}
	idle := true
	for k, a := range amounts {
		s.Amounts[k] = (a - amounts[l.Reference] + l.Steps) % l.Steps
		idle = idle && s.Amounts[k] == 0
	}
	if idle {
		return -1
	}
	return b.p.SyllableCost(b.metric, s)
}

// blocks lists the turns that letters are made of, told from the near end: of the
// two outer blocks that do the same but for a rotation of the whole the one of
// fewer layers, both where they have as many or wide ones are wanted, and every inner block.
func (b *Bench) blocks(line int) []puzzle.Turn {
	near := slices.IndexFunc(b.p.Axes, func(a puzzle.Axis) bool { return a.Line == line && !a.Far })
	l := b.p.Lines[line]
	var out []puzzle.Turn
	for from := 1; from <= l.Layers; from++ {
		for to := from; to <= l.Layers; to++ {
			outer := from == 1 || to == l.Layers
			whole := from == 1 && to == l.Layers
			if whole || outer && !b.options.Wide && 2*(to-from+1) > l.Layers {
				continue
			}
			for amount := 1; amount < l.Steps; amount++ {
				out = append(out, puzzle.Turn{Axis: near, From: from, To: to, Amount: amount})
			}
		}
	}
	return out
}
