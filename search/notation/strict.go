package notation

import "turnwright/search/puzzle"

// Strict12a reads an entry for a competition: moves of WCA Regulation 12a for
// the cube, separated by white space, and nothing else. Anything more, down to the
// layer prefixes and exponents of this package's own grammar, and comments, is
// refused, as Regulation E2c4 asks. The error is an [*Error] that points at
// the word. A typographic apostrophe passes for the plain one.
//
// A puzzle that is not a cube about its faces has no such moves.
func Strict12a(p *puzzle.Puzzle, text string) ([]puzzle.Turn, error) {
	ps, err := DefaultLimits.parser(p, text)
	if err != nil {
		return nil, err
	}
	if !p.LetterNames {
		return nil, ps.errorAt(0, "WCA 12a has no moves for %s: only cubes turned about their faces have them", p.Name)
	}
	return ps.plain("()[],:.^/", ", which is not in WCA 12a: write plain moves, as in R U2 Rw' x", "moves: shorten the entry")
}
