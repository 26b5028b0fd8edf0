package deepen

import (
	"slices"

	"turnwright/search/goal"
	"turnwright/search/puzzle"
)

// Where a puzzle is cut through the centre, the frame holds one piece of it, the
// anchor, and a word that moves the anchor comes to another word and a rotation of
// the whole. That loses nothing as long as the anchor has to be left alone, or
// another piece could be the one that is cycled in its stead. But where its type
// is ignored, sequences that move all pieces of the type would never be seen.
//
// Then the frame is held by another piece: a protected one or, if there is none,
// one of the wanted type, of which a symmetry brings one to the anchor that the
// change leaves alone. It must not look the same after any rotation of the whole,
// or the rotation would not be known.

// hold gives the puzzle as a search for the goal has to hold it. A puzzle on
// which no piece will do stays as it is. So does one that is turned about some axes
// only, as they go with the piece that is held.
func hold(p *puzzle.Puzzle, g goal.Goal) *puzzle.Puzzle {
	if p.Anchor < 0 || len(g.Axes) > 0 || !slices.Contains(g.Ignore, p.Pieces[p.Anchor].Type) {
		return p
	}
	for _, t := range append(slices.Clone(g.Protect), g.Cycle) {
		piece := p.Types[t].Pieces[0]
		if tellsRotations(p, piece) && (t != g.Cycle || images(p, g, piece) > g.Shape.Moved()) {
			return p.HeldBy(piece)
		}
	}
	return p
}

// tellsRotations tells whether no rotation of the whole but the idle one leaves
// all stickers of a piece where they are.
func tellsRotations(p *puzzle.Puzzle, piece int) bool {
	return !slices.ContainsFunc(p.Symmetries[1:p.Rotations], func(s puzzle.Symmetry) bool {
		return !slices.ContainsFunc(p.Pieces[piece].Stickers, func(x int) bool { return int(s.Stickers[x]) != x })
	})
}

// images counts the pieces that symmetries which keep the goal carry a piece to.
func images(p *puzzle.Puzzle, g goal.Goal, piece int) int {
	seen := map[int]bool{}
	for _, i := range g.Symmetries(p) {
		x := p.Pieces[piece].Stickers[0]
		seen[p.Stickers[p.Symmetries[i].Stickers[x]].Piece] = true
	}
	return len(seen)
}
