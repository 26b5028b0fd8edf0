package pattern

import (
	"fmt"

	"turnwright/search/puzzle"
)

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

// check tells what is wrong with wants: pieces or slots that the puzzle does not
// have, or a piece that is there twice.
func check(p *puzzle.Puzzle, wants []Want) error {
	seen := map[int]bool{}
	for _, w := range wants {
		if w.Piece < 0 || w.Piece >= len(p.Pieces) {
			return fmt.Errorf("%s has no piece %d", p.Name, w.Piece)
		}
		if seen[w.Piece] {
			return fmt.Errorf("piece %d is there twice", w.Piece)
		}
		seen[w.Piece] = true
		t := p.Types[p.Pieces[w.Piece].Type]
		for _, s := range w.Slots {
			if s < 0 || s >= len(t.Slots) {
				return fmt.Errorf("%s has no slot %d for piece %d", p.Name, s, w.Piece)
			}
		}
	}
	return nil
}
