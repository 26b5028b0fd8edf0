package pattern

import "turnwright/search/puzzle"

// Want says where a piece should be in the end.
type Want struct {
	Piece int   // index into Puzzle.Pieces
	Slots []int // slots of its type, any of which will do, ascending
}

// Solved wants every piece at home.
func Solved(p *puzzle.Puzzle) []Want {
	var wants []Want
	for i, piece := range p.Pieces {
		wants = append(wants, Want{i, []int{piece.Home}})
	}
	return wants
}

// SolvedByColour wants every piece where it shows the colours of the solved
// puzzle: those that look alike may be exchanged, and turned if that can't be seen.
func SolvedByColour(p *puzzle.Puzzle) []Want {
	var wants []Want
	for i, piece := range p.Pieces {
		want := Want{Piece: i}
		for s, slot := range p.Types[piece.Type].Slots {
			alike := true
			for k, x := range piece.Stickers {
				alike = alike && p.Stickers[x].Face == p.Stickers[slot[k]].Face
			}
			if alike {
				want.Slots = append(want.Slots, s)
			}
		}
		wants = append(wants, want)
	}
	return wants
}

// OfTypes keeps the wants of pieces of the given types.
func OfTypes(p *puzzle.Puzzle, wants []Want, types ...int) []Want {
	var out []Want
	for _, w := range wants {
		for _, t := range types {
			if p.Pieces[w.Piece].Type == t {
				out = append(out, w)
			}
		}
	}
	return out
}
