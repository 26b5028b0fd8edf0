package deepen

import (
	"slices"

	"turnwright/search/goal"
	"turnwright/search/puzzle"
)

// How the puzzle is held.
//
// To a person a sequence meets the goal if some rotation of the whole puzzle, done
// after it, leaves what is wanted. A search works in a frame at rest: it walks words
// that never rotate the whole. Where something that is protected or wanted is at
// rest too, such as the centres of a 3x3x3, no rotation but the idle one can leave
// what is wanted, and nothing is missed. Elsewhere the words themselves may turn all
// that counts against the frame: where the pieces that mark the core are ignored,
// and on puzzles whose core nobody sees.
//
// There the frame is held by another piece: a protected one or, if there is none,
// one of the wanted type, of which a symmetry brings one there that the change
// leaves alone. It must look different after any rotation of the whole.
//
// Where no piece will do, a search walks all words once for each rotation that
// remains (turned), and compares what they do with the puzzle so rotated.

// hold gives the puzzle as a search for the goal has to hold it. One on which no
// piece will do stays as it is, and so does one that is turned about some axes only:
// these go with what holds the frame.
func hold(p *puzzle.Puzzle, g goal.Goal, keepCore bool) *puzzle.Puzzle {
	switch {
	case len(g.Axes) > 0:
		return p
	case p.Anchor >= 0 && !slices.Contains(g.Ignore, p.Pieces[p.Anchor].Type):
		return p
	case p.Anchor < 0 && (keepCore || len(turned(p, g)) == 1):
		return p
	}
	for _, t := range append(slices.Clone(g.Protect), g.Cycle) {
		piece := p.Types[t].Pieces[0]
		if tellsRotations(p, piece) && (t != g.Cycle || leftAlone(p, g, piece)) {
			return p.HeldBy(piece)
		}
	}
	return p
}

// HidesCore tells whether turns of the layers beside the core may turn all that a
// goal protects or wants against it, so that a search has to say whether it counts
// sequences that do.
func HidesCore(p *puzzle.Puzzle, g goal.Goal) bool {
	return p.Anchor < 0 && len(turned(p, g)) > 1
}

// turned lists the rotations of the whole, the idle one first, that words of the
// frame might do to all that is protected or wanted: those that carry each piece to a
// slot that turns can carry it to, but for wanted ones that the change itself carries
// on. There may be more of them than words really do.
func turned(p *puzzle.Puzzle, g goal.Goal) []int {
	var steps []puzzle.Perm
	for i, l := range p.Lines {
		for k, step := range l.Step {
			if k != l.Reference && g.Allows(p, i, k) {
				steps = append(steps, step)
			}
		}
	}
	spare := slices.Repeat([]int{g.Shape.Moved()}, p.Rotations) // wanted pieces that may yet be elsewhere; -1 if too many are
	for t := range p.Types {
		if slices.Contains(g.Ignore, t) {
			continue
		}
		typ := &p.Types[t]
		orbit := orbits(typ, steps)
		for _, piece := range typ.Pieces {
			home := p.Pieces[piece].Home
			stays := t != g.Cycle || piece == p.Anchor && leftAlone(p, g, piece)
			for r, s := range p.Symmetries[:p.Rotations] {
				to := typ.SlotImage(home, s.Stickers)
				switch {
				case to >= 0 && orbit[to] == orbit[home]:
				case to < 0 || stays:
					spare[r] = -1
				default:
					spare[r] = max(spare[r]-1, -1)
				}
			}
		}
	}
	var out []int
	for r, n := range spare {
		if n >= 0 {
			out = append(out, r)
		}
	}
	return out
}

// orbits numbers the slots of a type: equal numbers where steps carry one to the other.
func orbits(typ *puzzle.Type, steps []puzzle.Perm) []int {
	of := slices.Repeat([]int{-1}, len(typ.Slots))
	for first := range of {
		if of[first] >= 0 {
			continue
		}
		of[first] = first
		for reached := []int{first}; len(reached) > 0; reached = reached[1:] {
			for _, step := range steps {
				if to := typ.SlotImage(reached[0], step); of[to] < 0 {
					of[to] = first
					reached = append(reached, to)
				}
			}
		}
	}
	return of
}

// tellsRotations tells whether no rotation of the whole but the idle one leaves
// all stickers of a piece where they are.
func tellsRotations(p *puzzle.Puzzle, piece int) bool {
	return !slices.ContainsFunc(p.Symmetries[1:p.Rotations], func(s puzzle.Symmetry) bool {
		return !slices.ContainsFunc(p.Pieces[piece].Stickers, func(x int) bool { return int(s.Stickers[x]) != x })
	})
}

// leftAlone tells whether every change that is wanted has an image, under the
// symmetries that keep the goal, that leaves a piece of the wanted type alone: more
// pieces are carried to its place than the change moves.
func leftAlone(p *puzzle.Puzzle, g goal.Goal, piece int) bool {
	seen := map[int]bool{}
	for _, i := range g.Symmetries(p) {
		x := p.Pieces[piece].Stickers[0]
		seen[p.Stickers[p.Symmetries[i].Stickers[x]].Piece] = true
	}
	return len(seen) > g.Shape.Moved()
}
