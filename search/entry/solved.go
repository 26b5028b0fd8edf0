package entry

import (
	"turnwright/search/puzzle"
)

// Solved tells whether a position looks solved, however the whole puzzle is held (WCA
// Regulation 10c): each place shows the colours that a rotation of the solved puzzle shows
// there. Pieces that look alike may have changed places.
func Solved(p *puzzle.Puzzle, position puzzle.Perm) bool {
	shows := colours(p, position)
	for _, rotation := range p.Symmetries[:p.Rotations] {
		if wrong(p, shows, rotation.Stickers, nil) == 0 {
			return true
		}
	}
	return false
}

// Unsolved lists the places where other colours show than should after the turns, by type; none
// where the puzzle is solved in any hold. The puzzle is held as a person holds it who looks at
// the layers that turns leave in place, such as the centres of the 3x3x3; places have the names
// that they have so.
func Unsolved(p *puzzle.Puzzle, turns []puzzle.Turn) []Left {
	position := p.Apply(turns)
	if Solved(p, position) {
		return nil
	}
	_, held := p.ToFrame(turns)
	bad := map[int]bool{}
	wrong(p, colours(p, position), p.Symmetries[held].Stickers, bad)
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

// colours tells what shows at each sticker's place: the face that has it when solved.
func colours(p *puzzle.Puzzle, position puzzle.Perm) []int {
	shows := make([]int, len(position))
	for sticker, at := range position {
		shows[at] = p.Stickers[sticker].Face
	}
	return shows
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
