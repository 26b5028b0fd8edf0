package scramble

import (
	"errors"
	"fmt"
)

// Newest is the way that new scrambles are made in; they are numbered from 1. A way is all
// that scrambles follow from besides the seed: how a position is drawn, which puzzles get
// random words and how long these are, how a text is written. A round keeps the number of its way and is bound to it, so
// that its scrambles can be made again by every later program.
//
// What a way makes never changes. A test holds each against the texts in
// testdata/way-*.txt; who makes scrambles otherwise adds a way, from New on down
// wherever it differs, and keeps those before. This goes for what a way rests on, too:
// the order of a puzzle's axes and stickers, the chain of its group, pattern
// tables, twostep, notation.
//
//	1  as doc.go describes it
const Newest = 1

// Unnumbered is the way of rounds that were announced before ways had numbers. It is
// made like way 1, which is what those programs did at last. Earlier ones, none of them
// released, had other random words: shorter ones of canonical letters on puzzles that have
// a group and are neither the 3x3x3 nor small, and longer ones on those without a group.
// Nothing makes these any more, so where scrambles of this way differ from what was shown,
// that alone proves nothing.
const Unnumbered = 0

// ErrWay says that nothing here makes scrambles in a way.
var ErrWay = errors.New("unknown way to make scrambles")

// known refuses ways that this program does not have.
func known(way int) error {
	switch {
	case way > Newest:
		return fmt.Errorf("%w: number %d; this program is older than that and knows numbers up to %d: use a newer one", ErrWay, way, Newest)
	case way < Unnumbered:
		return fmt.Errorf("%w: number %d; they count from %d", ErrWay, way, Unnumbered+1)
	}
	return nil
}
