package entry

import (
	"turnwright/search/puzzle"
)

// Unsolved lists the places where other colours show than should after the turns, by type; none
// where the puzzle is solved in any hold. The puzzle is held as a person holds it who looks at
// the layers that turns leave in place, such as the centres of the 3x3x3; places have the names
// that they have so.
func Unsolved(p *puzzle.Puzzle, turns []puzzle.Turn) []Left {
	position := p.Apply(turns)
	if p.Solved(position) {
		return nil
	}
	_, held := p.ToFrame(turns)
	shown := position.Inverse() // the sticker at each place
	bad := map[int]bool{}       // pieces whose places show other colours
	for home, at := range p.Symmetries[held].Stickers {
		if p.Stickers[shown[at]].Face != p.Stickers[home].Face {
			bad[p.Stickers[home].Piece] = true
		}
	}
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
