package improve

import (
	"fmt"
	"slices"

	"turnwright/search/puzzle"
)

// Wrong counts the pieces of each type that a solution leaves wrong after a scramble, with
// the whole puzzle held as it leaves fewest wrong. It fails with [ErrNoWay] where they
// are more than MaxWrong, and with [ErrSolved] where there is none.
func Wrong(p *puzzle.Puzzle, scramble, solution []puzzle.Turn) ([]int, error) {
	perm := p.Apply(slices.Concat(scramble, solution))
	var least leftover
	for _, s := range p.Symmetries[:p.Rotations] {
		left, ok := leftoverOf(p, perm.Then(s.Stickers.Inverse()), MaxWrong)
		if ok && (least == nil || left.moved() < least.moved()) {
			least = left
		}
	}
	if least == nil {
		return nil, fmt.Errorf("%w: it leaves more than %d pieces wrong", ErrNoWay, MaxWrong)
	}
	if least.moved() == 0 {
		return nil, ErrSolved
	}
	out := make([]int, len(p.Types))
	for i, change := range least {
		out[i] = len(change)
	}
	return out, nil
}
