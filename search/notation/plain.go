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
	return ps.plain("()[],:/", ": write plain turns, with white space between", "turns: shorten the sequence")
}

// plain reads turns and nothing else, separated by white space, none of which has one of the
// characters. The texts end what the errors say of such a one, and of too many turns.
func (ps *parser) plain(refused, why, tooMany string) ([]puzzle.Turn, error) {
	var turns []puzzle.Turn
	offset := 0
	for word := range strings.FieldsSeq(ps.text) {
		offset += strings.Index(ps.text[offset:], word)
		if i := strings.IndexAny(word, refused); i >= 0 {
			return nil, ps.errorAt(offset, "%q has a %c%s", clip(word), word[i], why)
		}
		t, err := ps.turn(word, offset)
		if err != nil {
			return nil, err
		}
		if len(turns) == ps.limits.Turns {
			return nil, ps.errorAt(offset, "there are more than %d %s", ps.limits.Turns, tooMany)
		}
		turns = append(turns, t)
		offset += len(word)
	}
	return turns, nil
}
