package solve

import (
	"fmt"
	"slices"
	"strings"

	"turnwright/search/pattern"
	"turnwright/search/puzzle"
)

// Pin says by the labels of slots where a piece is wanted: what shows at Piece on
// the solved puzzle is to show at At.
type Pin struct{ Piece, At string }

// Target says where pieces are wanted: all types but those ignored, each piece at
// home unless a pin sends it elsewhere. By colour, pieces that look alike may take
// one another's places. Its errors are for the person who asked.
func Target(p *puzzle.Puzzle, ignore []string, pins []Pin, byColour bool) ([]pattern.Want, error) {
	ignored := make([]bool, len(p.Types))
	for _, name := range ignore {
		t, ok := p.TypeByName(name)
		if !ok {
			var names []string
			for _, t := range p.Types {
				names = append(names, t.Name)
			}
			return nil, fmt.Errorf("%s has no piece type %q: it has %s", p.Name, name, strings.Join(names, ", "))
		}
		ignored[t] = true
	}
	at, err := places(p, ignored, pins)
	if err != nil {
		return nil, err
	}
	var wants []pattern.Want
	for i, w := range pattern.SolvedByColour(p) {
		typ := p.Pieces[i].Type
		switch {
		case ignored[typ]:
			continue
		case !byColour:
			w.Slots = []int{at[i]}
		default:
			// Where the piece looks like another one in a slot of that one's home, it
			// may be wherever the other one would be, held as it would be held there.
			t := &p.Types[typ]
			for k, s := range w.Slots {
				other := t.Pieces[t.Place[s]]
				w.Slots[k] = like(t, p.Pieces[other].Home, at[other], s)
			}
			slices.Sort(w.Slots)
		}
		wants = append(wants, w)
	}
	if len(wants) == 0 {
		return nil, fmt.Errorf("all types are ignored: nothing is left to be solved")
	}
	return wants, nil
}

// places is the slot in which each piece is wanted, by index into Pieces.
func places(p *puzzle.Puzzle, ignored []bool, pins []Pin) ([]int, error) {
	at := make([]int, len(p.Pieces))
	for i, piece := range p.Pieces {
		at[i] = piece.Home
	}
	pinned := map[int]bool{}
	for _, pin := range pins {
		typ, from, to, err := slots(p, pin)
		if err != nil {
			return nil, err
		}
		t := &p.Types[typ]
		piece := t.Pieces[t.Place[from]]
		if ignored[typ] {
			return nil, fmt.Errorf("pin %s=%s: pieces of type %s are ignored", pin.Piece, pin.At, t.Name)
		}
		if pinned[piece] {
			return nil, fmt.Errorf("pin %s=%s: another pin says where that piece must be", pin.Piece, pin.At)
		}
		pinned[piece] = true
		at[piece] = like(t, from, to, p.Pieces[piece].Home)
	}
	for typ := range p.Types {
		t := &p.Types[typ]
		taken := map[int]int{}
		for _, piece := range t.Pieces {
			place := t.Place[at[piece]]
			other, ok := taken[place]
			taken[place] = piece
			if !ok {
				continue
			}
			if !pinned[piece] {
				piece, other = other, piece
			}
			name, rival, where := home(p, piece), home(p, other), t.Labels[p.Pieces[t.Pieces[place]].Home]
			if pinned[other] {
				return nil, fmt.Errorf("two pins send pieces to one place: %s and %s can't both be at %s", name, rival, where)
			}
			return nil, fmt.Errorf("a pin sends the piece %s to the home of %s: pin %s too, to say where that one goes", name, rival, rival)
		}
	}
	return at, nil
}

// home names a piece by the slot that it is in when the puzzle is solved.
func home(p *puzzle.Puzzle, piece int) string {
	return p.Types[p.Pieces[piece].Type].Labels[p.Pieces[piece].Home]
}

// slots finds the two slots of a pin, which are of one type.
func slots(p *puzzle.Puzzle, pin Pin) (typ, from, to int, err error) {
	types := map[string][]int{}
	for i := range p.Types {
		from, isFrom := p.SlotByLabel(&p.Types[i], pin.Piece)
		to, isTo := p.SlotByLabel(&p.Types[i], pin.At)
		if isFrom && isTo {
			return i, from, to, nil
		}
		if isFrom {
			types[pin.Piece] = append(types[pin.Piece], i)
		}
		if isTo {
			types[pin.At] = append(types[pin.At], i)
		}
	}
	for _, label := range []string{pin.Piece, pin.At} {
		if types[label] == nil {
			labels := p.Types[len(p.Types)-1].Labels
			return 0, 0, 0, fmt.Errorf("%s has no slot %q; slots are named like %s", p.Name, label, strings.Join(labels[:min(3, len(labels))], ", "))
		}
	}
	return 0, 0, 0, fmt.Errorf("pin %s=%s: a piece of type %s is never at a place of type %s",
		pin.Piece, pin.At, p.Types[types[pin.Piece][0]].Name, p.Types[types[pin.At][0]].Name)
}

// like is the slot that is to slot to what slot s is to slot from, where s and
// from are at one place: the stickers are taken from there in the same order.
func like(t *puzzle.Type, from, to, s int) int {
	image := make([]uint16, len(t.Slots[s]))
	for k, x := range t.Slots[s] {
		image[k] = t.Slots[to][slices.Index(t.Slots[from], x)]
	}
	return indexOf(t, image)
}

// indexOf is the slot that covers the stickers in that order, or -1.
func indexOf(t *puzzle.Type, stickers []uint16) int {
	return slices.IndexFunc(t.Slots, func(slot []uint16) bool { return slices.Equal(slot, stickers) })
}
