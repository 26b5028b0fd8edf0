package structure

import (
	"slices"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// A letter is an element of the group of one line other than the idle one: how far
// each of its layers turns, rotations of the whole told apart. Letters are known
// by number, from 1.
type letter struct {
	line    int
	amounts []uint8 // by layer from the near end, 0..Steps-1
	inverse int32
	turns   []puzzle.Turn
	cost    int
}

// word is a sequence of letters without neighbours on one line.
type word []int32

// speller turns sequences into words and back.
type speller struct {
	p       *puzzle.Puzzle
	metric  puzzle.Metric
	letters []letter // the first is not used
	index   map[string]int32
	product [][]int32 // by letter and letter of the same line, -1 where it is not known yet
	scratch word
	work    int // letters that may yet be looked at
}

func newSpeller(p *puzzle.Puzzle, m puzzle.Metric) *speller {
	return &speller{p: p, metric: m, letters: make([]letter, 1), index: map[string]int32{}}
}

// letter finds the number of a letter, 0 for the idle one.
func (s *speller) letter(line int, amounts []uint8) int32 {
	if !slices.ContainsFunc(amounts, func(a uint8) bool { return a != 0 }) {
		return 0
	}
	key := string(append([]byte{byte(line)}, amounts...))
	if i, ok := s.index[key]; ok {
		return i
	}
	i := int32(len(s.letters))
	s.index[key] = i
	l := letter{line: line, amounts: slices.Clone(amounts)}
	l.turns = s.turnsOf(line, amounts)
	l.cost = notation.Length(s.p, s.metric, l.turns)
	s.letters = append(s.letters, l)
	steps := uint8(s.p.Lines[line].Steps)
	undo := make([]uint8, len(amounts))
	for k, a := range amounts {
		undo[k] = (steps - a) % steps
	}
	inverse := s.letter(line, undo) // the letter itself is known by now
	s.letters[i].inverse = inverse
	return i
}

// turnsOf finds turns for a letter: the cheapest that come to the same but for a
// rotation of the whole, and that rotation.
func (s *speller) turnsOf(line int, amounts []uint8) []puzzle.Turn {
	l := s.p.Lines[line]
	syllable := puzzle.Syllable{Line: line, Amounts: make([]int, l.Layers)}
	for k, a := range amounts {
		syllable.Amounts[k] = (int(a) - int(amounts[l.Reference]) + l.Steps) % l.Steps
	}
	var turns []puzzle.Turn
	if s.letterless(syllable.Amounts) {
		turns = nil
	} else {
		turns, _ = s.p.FromFrame(s.metric, []puzzle.Syllable{syllable})
	}
	rest := int(amounts[0])
	for _, t := range turns {
		rest -= int(s.amountsOf(t)[0])
	}
	near := slices.IndexFunc(s.p.Axes, func(a puzzle.Axis) bool { return a.Line == line && !a.Far })
	return notation.Simplify(s.p, append(turns, puzzle.Turn{Axis: near, From: 1, To: l.Layers, Amount: rest}))
}

func (s *speller) letterless(amounts []int) bool {
	return !slices.ContainsFunc(amounts, func(a int) bool { return a != 0 })
}

// amountsOf is a turn as amounts of its line's layers.
func (s *speller) amountsOf(t puzzle.Turn) []uint8 {
	ax := s.p.Axes[t.Axis]
	l := s.p.Lines[ax.Line]
	out := make([]uint8, l.Layers)
	amount := ((t.Amount % l.Steps) + l.Steps) % l.Steps
	for k := t.From - 1; k < t.To; k++ {
		if ax.Far {
			out[l.Layers-1-k] = uint8((l.Steps - amount) % l.Steps)
		} else {
			out[k] = uint8(amount)
		}
	}
	return out
}

// times is the product of two letters of one line, 0 where they undo each other.
func (s *speller) times(x, y int32) int32 {
	for int(x) >= len(s.product) {
		s.product = append(s.product, nil)
	}
	for int(y) >= len(s.product[x]) {
		s.product[x] = append(s.product[x], -1)
	}
	if z := s.product[x][y]; z >= 0 {
		return z
	}
	a, b := s.letters[x], s.letters[y]
	steps := uint8(s.p.Lines[a.line].Steps)
	sum := make([]uint8, len(a.amounts))
	for k := range sum {
		sum[k] = (a.amounts[k] + b.amounts[k]) % steps
	}
	z := s.letter(a.line, sum)
	s.product[x][y] = z
	return z
}

// spell writes turns as a word.
func (s *speller) spell(turns []puzzle.Turn) word {
	var out word
	for _, t := range turns {
		out = s.push(out, s.letter(s.p.Axes[t.Axis].Line, s.amountsOf(t)))
	}
	return out
}

// push appends a letter, 0 for none, which may merge with the last one.
func (s *speller) push(w word, x int32) word {
	if x == 0 {
		return w
	}
	if n := len(w); n > 0 && s.letters[w[n-1]].line == s.letters[x].line {
		z := s.times(w[n-1], x)
		if w = w[:n-1]; z != 0 {
			w = append(w, z)
		}
		return w
	}
	return append(w, x)
}

// join is one word after another.
func (s *speller) join(words ...word) word {
	var out word
	for _, w := range words {
		for i, x := range w {
			if len(out) == 0 || s.letters[out[len(out)-1]].line != s.letters[x].line {
				out = append(out, w[i:]...)
				break
			}
			out = s.push(out, x)
		}
	}
	return out
}

func (s *speller) inverse(w word) word {
	out := make(word, len(w))
	for i, x := range w {
		out[len(w)-1-i] = s.letters[x].inverse
	}
	return out
}

func (s *speller) turns(w word) []puzzle.Turn {
	var out []puzzle.Turn
	for _, x := range w {
		out = append(out, s.letters[x].turns...)
	}
	return out
}

func (s *speller) cost(w word) int {
	sum := 0
	for _, x := range w {
		sum += s.letters[x].cost
	}
	return sum
}

// balanced tells whether the turns about each line add up to nothing, as they do in
// products of commutators.
func (s *speller) balanced(w word) bool {
	sums := make([]int32, len(s.p.Lines))
	for _, x := range w {
		if sum := &sums[s.letters[x].line]; *sum != 0 {
			*sum = s.times(*sum, x)
		} else {
			*sum = x
		}
	}
	return !slices.ContainsFunc(sums, func(sum int32) bool { return sum != 0 })
}
