package solve

import (
	"fmt"
	"slices"

	"turnwright/search/notation"
	"turnwright/search/pattern"
	"turnwright/search/puzzle"
)

// Solution is a sequence that does what is wanted.
type Solution struct {
	Turns  []puzzle.Turn // to be done after Start, with the puzzle held as that leaves it
	Text   string        // the turns, in the puzzle's notation
	Length int
}

// meets tells whether letters bring all pieces from a start to where they are wanted.
func (p *Plan) meets(from start, letters []int) bool {
	perm := p.Question.Puzzle.Identity()
	for _, letter := range letters {
		perm = perm.Then(p.Alphabet.Puzzle.SyllablePerm(p.Alphabet.Letters[letter].Syllable))
	}
	for _, w := range p.wants {
		piece := p.Question.Puzzle.Pieces[w.Piece]
		slots := p.Question.Puzzle.Types[piece.Type].Slots
		var here []int
		for _, x := range slots[from[w.Piece]] {
			here = append(here, int(x))
		}
		if !slices.ContainsFunc(w.Slots, func(s int) bool { return covers(perm, here, slots[s]) }) {
			return false
		}
	}
	return true
}

// solution writes letters out as turns, and checks them.
func (p *Plan) solution(letters []int) (Solution, error) {
	pz := p.Question.Puzzle
	turns, _ := pz.FromFrame(p.Question.Metric, p.Alphabet.Syllables(letters))
	for i, t := range turns {
		turns[i] = pz.Tidy(pz.Symmetries[p.rotation].Image(t))
	}
	s := Solution{Turns: turns, Text: notation.Print(pz, turns), Length: notation.Length(pz, p.Question.Metric, turns)}
	return s, Verify(p.Question, s)
}

// Verify carries out the start and a solution, turn by turn, on all stickers, and
// tells what is wrong with it. It shares no more with the search than how the
// puzzle is held in the end.
func Verify(q Question, s Solution) error {
	length := 0
	for _, t := range s.Turns {
		length += q.Puzzle.Cost(q.Metric, t)
	}
	if length != s.Length {
		return fmt.Errorf("%s has length %d, not %d", s.Text, length, s.Length)
	}
	_, err := Held(q, s)
	return err
}

// Held tells how the whole puzzle is held in the end: the rotation, as an index
// into the symmetries, with which start and solution leave it. It fails where
// not all pieces are then where they are wanted.
func Held(q Question, s Solution) (rotation int, err error) {
	wants := q.Wants
	if wants == nil {
		wants = pattern.Solved(q.Puzzle)
	}
	turns := slices.Concat(q.Start, s.Turns)
	perm, rotation := framed(q.Puzzle, turns)
	astray := strays(q.Puzzle, wants, perm)
	if astray >= 0 && q.AnyWay {
		whole := q.Puzzle.Apply(turns)
		for r := range q.Puzzle.Rotations {
			undo := q.Puzzle.Symmetries[q.Puzzle.Symmetries[r].Inverse].Stickers
			if strays(q.Puzzle, wants, whole.Then(undo)) < 0 {
				return r, nil
			}
		}
	}
	if astray >= 0 {
		return 0, fmt.Errorf("%s does not bring the piece %s to where it is wanted", s.Text, home(q.Puzzle, astray))
	}
	return rotation, nil
}

// strays is a piece that a permutation does not take to where it is wanted, or -1.
func strays(p *puzzle.Puzzle, wants []pattern.Want, perm puzzle.Perm) int {
	for _, w := range wants {
		piece := p.Pieces[w.Piece]
		slots := p.Types[piece.Type].Slots
		if !slices.ContainsFunc(w.Slots, func(s int) bool { return covers(perm, piece.Stickers, slots[s]) }) {
			return w.Piece
		}
	}
	return -1
}
