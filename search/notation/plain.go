package notation

import (
	"strings"

	"turnwright/search/puzzle"
)

// PlainTurns reads turns separated by white space, as the puzzle's notation has them, and
// nothing else: no groups, brackets, repeated groups or comments. It is for competitions on
// puzzles that WCA Regulation 12a has no moves for; [Strict12a] is its sister. The error
// is an [*Error] that points at the word.
func PlainTurns(p *puzzle.Puzzle, text string) ([]puzzle.Turn, error) {
	ps, err := DefaultLimits.parser(p, text)
	if err != nil {
		return nil, err
	}
	var turns []puzzle.Turn
	offset := 0
	for word := range strings.FieldsSeq(text) {
		offset += strings.Index(text[offset:], word)
		if i := strings.IndexAny(word, "()[],:/"); i >= 0 {
			return nil, ps.errorAt(offset, "%q has a %c: write plain turns, with white space between", clip(word), word[i])
		}
		t, err := ps.turn(word, offset)
		if err != nil {
			return nil, err
		}
		if len(turns) == ps.limits.Turns {
			return nil, ps.errorAt(offset, "there are more than %d turns: shorten the sequence", ps.limits.Turns)
		}
		turns = append(turns, t)
		offset += len(word)
	}
	return turns, nil
}
