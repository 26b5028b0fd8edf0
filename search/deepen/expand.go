package deepen

import (
	"fmt"

	"turnwright/search/goal"
	"turnwright/search/notation"
)

// From one word to all classes that follow from it.
//
// Let w be a shortest sequence for some cycle, of length L, written in syllables.
//
//  1. If its ends are on different lines, it is a rotation of a word that the
//     walk finds at length L (cyclic.go); expand writes out all rotations. If it
//     is a single syllable the walk finds it as it is.
//  2. Otherwise w = a y b with a and b on one line. Then y·(b a) does the same,
//     conjugated by a, at a length that is less or equal. If b a is not idle
//     and y does not end on its line, y·(b a) is a rotation of a word of case 1, of
//     a length up to L: expand opens every syllable c of such a word into a
//     before and c·a⁻¹ after.
//  3. If b a is idle, w = a y a⁻¹ with a shortest sequence y for another cycle, of
//     length L minus twice the cost of a; taking a turn by turn, of length L-2:
//     Close conjugates every class of that length by every turn of cost 1.
//
// So every class is reached at its shortest length: by expand at a length up to
// that one, or by Close at that length.

// expand adds to found what follows from a word that makes a cycle.
func (p *Plan) expand(found best, letters []int, length int, figure figure) {
	word := p.merge(found.room.merged, letters)
	found.room.merged = word
	n := len(word)
	switch {
	case p.Alphabet.Cost(word) != length:
		return // of a shorter length
	case n == 1:
		p.propose(found, word, length, figure)
		return
	case p.line(word[0]) == p.line(word[n-1]):
		return // case 2 or 3
	}
	for i := range word {
		// After the first i+1 letters of the word have gone to its end:
		rotated := append(append(found.room.rotated[:0], word[i+1:]...), word[:i+1]...)
		found.room.rotated = rotated
		figure = p.conjugate(figure, word[i])
		p.propose(found, rotated, length, figure)
		p.open(found, rotated, length, figure)
	}
}

// open adds the words a · rotated · a⁻¹ with a on the line of the last letter.
func (p *Plan) open(found best, rotated []int, length int, figure figure) {
	n := len(rotated)
	last := rotated[n-1]
	opened := append(append(found.room.opened[:0], 0), rotated...)
	found.room.opened = opened
	for _, a := range p.onLine[p.line(last)] {
		back := p.Alphabet.Letters[a].Inverse
		rest := p.product[last][back]
		if rest < 0 {
			continue // a is the last letter itself: a rotation
		}
		cost := length - p.cost(last) + p.cost(a) + p.cost(rest)
		if cost > p.Question.Max {
			continue
		}
		opened[0], opened[n] = a, rest
		p.propose(found, opened, cost, p.conjugate(figure, back))
	}
}

// Close returns what follows at a length from the sequences of length-2: those
// of the findings so far. It belongs to the length's proof, after all units.
func (p *Plan) Close(length int, shorter []string) ([]Candidate, error) {
	if p.cyclic == nil {
		return nil, nil
	}
	found := p.newBest()
	for _, text := range shorter {
		turns, err := notation.ParseTurns(p.Question.Puzzle, text)
		if err != nil {
			return nil, fmt.Errorf("close length %d: %w", length, err)
		}
		syllables, _ := p.Question.Puzzle.ToFrame(turns)
		word, err := p.Alphabet.Spell(syllables)
		if err != nil {
			return nil, fmt.Errorf("close length %d: %q: %w", length, text, err)
		}
		figure, ok := p.judge.figureOf(word, nil, 0)
		if !ok {
			return nil, fmt.Errorf("close length %d: %q: %w", length, text, goal.ErrNotMet)
		}
		for a, l := range p.Alphabet.Letters {
			if l.Cost != 1 {
				continue
			}
			longer := append(append([]int{a}, word...), l.Inverse)
			p.propose(found, longer, length, p.conjugate(figure, l.Inverse))
		}
	}
	return found.sorted(), nil
}

// propose adds a word if it is better for its class than what is there; of
// equals the first stays. Most are not, and are left before anything is written out.
func (p *Plan) propose(found best, letters []int, length int, figure figure) {
	key, _, _ := p.classOf(figure)
	if list := found.byKey[key]; len(list) > 0 {
		if old := list[0]; old.Length < length || old.Length == length && old.Axes <= p.axes(letters) {
			return
		}
	}
	for _, c := range p.candidates(letters, length, figure, 0) {
		found.add(c)
	}
}

// conjugate is what letter⁻¹ · w · letter does if w does the given.
func (p *Plan) conjugate(f figure, letter int) figure {
	moves := p.judge.moves[p.judge.cycle][letter]
	for i := range f.n {
		f.at[i] = int(moves[f.at[i]])
	}
	return f
}

// merge joins neighbouring letters of one line, and writes what comes of it over out.
func (p *Plan) merge(out, letters []int) []int {
	out = out[:0]
	for _, x := range letters {
		for n := len(out); n > 0 && x >= 0 && p.line(out[n-1]) == p.line(x); n = len(out) {
			x = p.product[out[n-1]][x]
			out = out[:n-1]
		}
		if x >= 0 {
			out = append(out, x)
		}
	}
	return out
}

func (p *Plan) line(letter int) int { return p.Alphabet.Letters[letter].Line }

func (p *Plan) cost(letter int) int { return p.Alphabet.Letters[letter].Cost }

// axes counts the different lines of a word.
func (p *Plan) axes(letters []int) int {
	seen := uint64(0)
	count := 0
	for _, x := range letters {
		if bit := uint64(1) << p.line(x); seen&bit == 0 {
			seen |= bit
			count++
		}
	}
	return count
}

// prepareLines fills the tables by which letters of one line multiply.
func (p *Plan) prepareLines() {
	a := p.Alphabet
	p.onLine = make([][]int, len(p.Question.Puzzle.Lines))
	for x, l := range a.Letters {
		p.onLine[l.Line] = append(p.onLine[l.Line], x)
		row := make([]int, len(a.Letters))
		for y, m := range a.Letters {
			row[y] = -1
			if l.Line == m.Line {
				row[y] = a.Product(x, y)
			}
		}
		p.product = append(p.product, row)
	}
}
