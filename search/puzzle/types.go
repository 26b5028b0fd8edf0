package puzzle

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"turnwright/search/solid"
)

// findTypes sorts pieces into orbits and lists the slots of each.
func (b *builder) findTypes() error {
	p := b.p
	var steps []Perm
	for _, l := range p.Lines {
		steps = append(steps, l.Step...)
	}
	known := make([]bool, len(p.Pieces))
	for first := range p.Pieces {
		if known[first] {
			continue
		}
		slots := orbit(b.clockwise(first), steps)
		slices.SortFunc(slots, b.compareSlots)
		t := Type{Slots: slots}
		for s, slot := range slots {
			piece := p.Stickers[slot[0]].Piece
			place := slices.Index(t.Pieces, piece)
			if place < 0 {
				place = len(t.Pieces)
				t.Pieces = append(t.Pieces, piece)
				p.Pieces[piece].Home = s
				p.Pieces[piece].Stickers = toInts(slot)
				known[piece] = true
			}
			t.Place = append(t.Place, place)
		}
		t.Orientations = len(t.Slots) / len(t.Pieces)
		p.Types = append(p.Types, t)
	}
	return nil
}

// orbit lists the slots that turns carry a piece to from one of them.
//
// A slot is an ordered tuple of stickers: where each sticker of a piece goes. So
// position and orientation need no separate treatment, and an orientation that
// shows nowhere does not exist. Whatever turns do to one piece, a rotation of the
// whole does too, so a type has no more slots than the puzzle has rotations.
func orbit(start []uint16, steps []Perm) [][]uint16 {
	slots := [][]uint16{start}
	known := map[string]bool{fmt.Sprint(start): true}
	for i := 0; i < len(slots); i++ {
		for _, step := range steps {
			image := make([]uint16, len(start))
			for j, x := range slots[i] {
				image[j] = step[x]
			}
			key := fmt.Sprint(image)
			if known[key] {
				continue
			}
			known[key] = true
			slots = append(slots, image)
		}
	}
	return slots
}

func toInts(xs []uint16) []int {
	out := make([]int, len(xs))
	for i, x := range xs {
		out[i] = int(x)
	}
	return out
}

// clockwise lists a piece's stickers clockwise as seen from outside.
func (b *builder) clockwise(piece int) []uint16 {
	xs := b.p.Pieces[piece].Stickers
	out := make([]uint16, len(xs))
	for i, x := range xs {
		out[i] = uint16(x)
	}
	c := b.pieceCentre(piece)
	if len(xs) < 3 || c.Len() < solid.Epsilon {
		return out
	}
	z := c.Unit()
	first := b.parts[xs[0]].Centre
	x := first.Sub(z.Scale(first.Dot(z)))
	y := x.Cross(z) // clockwise from x as seen from the tip of z
	angle := func(s uint16) float64 {
		a := math.Atan2(b.parts[s].Centre.Dot(y), b.parts[s].Centre.Dot(x))
		if a < -solid.Epsilon {
			a += 2 * math.Pi
		}
		return a
	}
	slices.SortStableFunc(out, func(s, t uint16) int { return solid.Compare(angle(s), angle(t)) })
	return out
}

// compareSlots orders slots from the top of the puzzle down, then around; at one
// place the slot whose first sticker is on the face nearest a pole comes first.
func (b *builder) compareSlots(s, t []uint16) int {
	ps, pt := b.p.Stickers[s[0]].Piece, b.p.Stickers[t[0]].Piece
	if ps != pt {
		return cmp.Or(solid.Latitude(b.pieceCentre(ps), b.pieceCentre(pt)), ps-pt)
	}
	for i := range s {
		fs, ft := b.p.Stickers[s[i]].Face, b.p.Stickers[t[i]].Face
		if d := cmp.Or(solid.Compare(b.polar(ft), b.polar(fs)), fs-ft); d != 0 {
			return d
		}
	}
	return 0
}

// polar is how near a face is to the top or the bottom: 1 there, 0 at the sides.
func (b *builder) polar(face int) float64 { return math.Abs(b.solid.Faces[face].Normal[2]) }
