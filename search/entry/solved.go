package entry

import (
	"turnwright/search/puzzle"
)

// Solved tells whether a position looks solved, however the whole puzzle is held (WCA
// Regulation 10c): each place shows the colours that a rotation of the solved puzzle shows
// there. Pieces that look alike may have changed places.
func Solved(p *puzzle.Puzzle, position puzzle.Perm) bool {
	return len(Unsolved(p, position)) == 0
}

// Unsolved lists the places where other colours show than should, by type; none where the
// position is solved. The puzzle is held so that they are fewest; places have the names of
// the solved puzzle as it was held before the scramble.
func Unsolved(p *puzzle.Puzzle, position puzzle.Perm) []Left {
	shows := make([]int, len(position)) // the colour at each place, as the face that has it when solved
	for sticker, at := range position {
		shows[at] = p.Stickers[sticker].Face
	}
	best, held := len(position)+1, 0
	for i, rotation := range p.Symmetries[:p.Rotations] {
		if n := wrong(p, shows, rotation.Stickers, nil); n < best {
			best, held = n, i
		}
	}
	if best == 0 {
		return nil
	}
	bad := map[int]bool{}
	wrong(p, shows, p.Symmetries[held].Stickers, bad)
	// Name places as they are with the rotation taken off, as one who holds the puzzle so reads it.
	var out []Left
	for t := range p.Types {
		l := Left{Type: p.Types[t].Name}
		for _, piece := range p.Types[t].Pieces {
			if bad[piece] {
				l.Places = append(l.Places, p.Types[t].Labels[p.Pieces[piece].Home])
			}
		}
		if len(l.Places) > 0 {
			out = append(out, l)
		}
	}
	return out
}

// wrong counts the stickers that show another colour than a rotation of the solved puzzle
// would, and marks the pieces whose places these are: before the rotation.
func wrong(p *puzzle.Puzzle, shows []int, rotation puzzle.Perm, pieces map[int]bool) int {
	n := 0
	for home, at := range rotation {
		if shows[at] == p.Stickers[home].Face {
			continue
		}
		n++
		if pieces != nil {
			pieces[p.Stickers[home].Piece] = true
		}
	}
	return n
}
