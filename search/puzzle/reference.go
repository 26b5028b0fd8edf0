package puzzle

import (
	"cmp"
	"slices"

	"turnwright/search/solid"
)

// chooseFrame picks the layer of each line that stays put while searching: the
// one with the centre, or, where a cut goes through the centre, the one with the
// anchor, a piece that no turn of the frame moves.
func (b *builder) chooseFrame() error {
	deep := false
	for i, l := range b.lines {
		deep = deep || l.deep()
		b.p.Lines[i].Reference = l.central()
	}
	b.p.Anchor = -1
	if !deep {
		return nil
	}
	b.p.Anchor = b.anchor()
	anchor := b.p.Pieces[b.p.Anchor].Stickers[0]
	for i, l := range b.lines {
		if l.deep() {
			b.p.Lines[i].Reference = b.layer(i, anchor)
		}
	}
	return nil
}

// HeldBy is the same puzzle with the frame held by a piece: in every line the layer
// stays put in which the piece lies. A piece on a line is turned by no layer of
// it, and leaves the line as it is.
func (p *Puzzle) HeldBy(piece int) *Puzzle {
	held := *p
	held.Anchor = piece
	held.Lines = slices.Clone(p.Lines)
	for i := range held.Lines {
		for k, step := range held.Lines[i].Step {
			if slices.ContainsFunc(p.Pieces[piece].Stickers, func(x int) bool { return int(step[x]) != x }) {
				held.Lines[i].Reference = k
			}
		}
	}
	return &held
}

// deep tells whether a cut goes through the centre.
func (l line) deep() bool {
	return slices.ContainsFunc(l.cuts, func(c float64) bool { return solid.Compare(c, 0) == 0 })
}

// central is the layer that holds the centre; where a cut goes through it, the
// one that begins there.
func (l line) central() int {
	k := 0
	for _, c := range l.cuts {
		if c > solid.Epsilon {
			k++
		}
	}
	return k
}

// anchor is, among the pieces that lie in the layer with the centre of every
// line that has one, that with the most stickers, then the lowest, then the
// rearmost. Where no piece lies so, some turn of the frame moves any of them.
func (b *builder) anchor() int {
	moved := make([]int, len(b.p.Pieces)) // lines whose turns move the piece
	pieces := make([]int, len(b.p.Pieces))
	for i, piece := range b.p.Pieces {
		pieces[i] = i
		for k, l := range b.lines {
			if !l.deep() && b.layer(k, piece.Stickers[0]) != l.central() {
				moved[i]++
			}
		}
	}
	return slices.MinFunc(pieces, func(i, j int) int {
		ci, cj := b.pieceCentre(i), b.pieceCentre(j)
		return cmp.Or(
			cmp.Compare(moved[i], moved[j]),
			cmp.Compare(len(b.p.Pieces[j].Stickers), len(b.p.Pieces[i].Stickers)),
			solid.Compare(ci[2], cj[2]),
			solid.Compare(cj[1], ci[1]),
			solid.Compare(ci[0], cj[0]),
		)
	})
}
