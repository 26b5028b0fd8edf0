package deepen

import (
	"turnwright/search/goal"
	"turnwright/search/table"
	"turnwright/search/word"
)

// trackedPieces is how many pieces make a key. With ten pieces of 60 slots a
// key has 59 bits; words that agree on them hardly ever differ elsewhere.
const trackedPieces = 10

// manyHits is how many words of a near table may have a key without meeting
// the goal before four tables are better than one.
const manyHits = 4

// sample is a set of words with the slots that they take pieces to.
type sample struct {
	words int
	slot  map[int][]uint16 // by piece, then word
}

// chooseTracked picks the pieces whose slots make keys, for one pass or four.
func chooseTracked(a *word.Alphabet, g goal.Goal, depth int) [][]int {
	p := a.Puzzle
	s := takeSample(a)
	var protected, cycled []int
	for _, t := range g.Protect {
		protected = append(protected, s.moving(p.Types[t].Pieces)...)
	}
	cycled = s.moving(p.Types[g.Cycle].Pieces)

	// Pairs of words that agree on all that is protected and differ on the
	// cycled type are the ones that will be found in vain.
	agree := s.classes(protected)
	apart := s.classes(append(append([]int(nil), protected...), cycled...))
	rate := (pairs(agree) - pairs(apart)) / (float64(s.words) * float64(s.words) / 2)
	if rate*float64((table.Spec{Alphabet: a, Depth: depth}).Words()) < manyHits {
		return [][]int{s.pick(protected)}
	}
	blocks := g.Shape.Moved() + 1 // one of them is left alone
	var out [][]int
	for j := range blocks {
		pieces := append([]int(nil), protected...)
		for i := j; i < len(cycled); i += blocks {
			pieces = append(pieces, cycled[i])
		}
		out = append(out, s.pick(pieces))
	}
	return out
}

// takeSample takes all words up to the greatest cost that keeps it small.
func takeSample(a *word.Alphabet) *sample {
	const most = 5000
	var words [][]int
	for cost := 0; cost <= word.MaxCost; cost++ {
		n := a.Count(a.Start(), cost)
		if cost > 1 && uint64(len(words))+n > most {
			break
		}
		for r := uint64(0); r < min(n, most); r++ {
			words = append(words, a.Unrank(nil, cost, r*n/min(n, most)))
		}
	}
	s := &sample{words: len(words), slot: map[int][]uint16{}}
	for t, typ := range a.Puzzle.Types {
		moves := make([][]uint16, len(a.Letters))
		for letter := range moves {
			moves[letter] = table.SlotMoves(a, t, letter)
		}
		for _, piece := range typ.Pieces {
			column := make([]uint16, len(words))
			for i, w := range words {
				slot := uint16(a.Puzzle.Pieces[piece].Home)
				for _, letter := range w {
					slot = moves[letter][slot]
				}
				column[i] = slot
			}
			s.slot[piece] = column
		}
	}
	return s
}

// moving leaves out the pieces that no turn moves in the frame.
func (s *sample) moving(pieces []int) []int {
	var out []int
	for _, piece := range pieces {
		for _, slot := range s.slot[piece] {
			if slot != s.slot[piece][0] {
				out = append(out, piece)
				break
			}
		}
	}
	return out
}

// classes numbers the words by the slots of the pieces: equal numbers, equal slots.
func (s *sample) classes(pieces []int) []int {
	class := make([]int, s.words)
	for _, piece := range pieces {
		s.refine(class, piece)
	}
	return class
}

// refine splits classes by the slot of one more piece and returns how many there are.
func (s *sample) refine(class []int, piece int) int {
	index := map[[2]int]int{}
	for i, slot := range s.slot[piece] {
		k := [2]int{class[i], int(slot)}
		c, ok := index[k]
		if !ok {
			c = len(index)
			index[k] = c
		}
		class[i] = c
	}
	return len(index)
}

// pairs counts the pairs of words in one class.
func pairs(class []int) float64 {
	count := map[int]float64{}
	for _, c := range class {
		count[c]++
	}
	sum := 0.0
	for _, n := range count {
		sum += n * (n - 1) / 2
	}
	return sum
}

// pick chooses pieces that tell the most words apart, one after another; when
// they tell apart all that can be told, it starts afresh with those left over.
func (s *sample) pick(pieces []int) []int {
	left := append([]int(nil), pieces...)
	goalClasses := countClasses(s.classes(pieces))
	var out []int
	for len(out) < trackedPieces && len(left) > 0 {
		class := make([]int, s.words)
		for have := 1; len(out) < trackedPieces && len(left) > 0; {
			best, bestCount := 0, 0
			for i, piece := range left {
				trial := append([]int(nil), class...)
				if n := s.refine(trial, piece); n > bestCount {
					best, bestCount = i, n
				}
			}
			if bestCount == have {
				break // nothing more to tell apart with what is left
			}
			have = s.refine(class, left[best])
			out = append(out, left[best])
			left = append(left[:best:best], left[best+1:]...)
			if have == goalClasses {
				break
			}
		}
	}
	return out
}

func countClasses(class []int) int {
	most := 0
	for _, c := range class {
		most = max(most, c+1)
	}
	return most
}
