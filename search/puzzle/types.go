package puzzle

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"turnwright/search/solid"
)

// findTypes sorts pieces into orbits and lists the slots of each.
//
// A slot is an ordered tuple of stickers: where each sticker of a piece goes.
// The slots of a type are all images of one piece's own tuple under the turns,
// so position and orientation need no separate treatment, and an orientation
// that shows nowhere does not exist.
func (b *builder) findTypes() error {
	p := b.p
	var steps []Perm
	for _, l := range p.Lines {
		steps = append(steps, l.Step...)
	}
	typeOf := make([]int, len(p.Pieces))
	for i := range typeOf {
		typeOf[i] = -1
	}
	for first := range p.Pieces {
		if typeOf[first] >= 0 {
			continue
		}
		t := Type{}
		start := b.clockwise(first)
		index := map[string]int{fmt.Sprint(start): 0}
		t.Slots = [][]uint16{start}
		for i := 0; i < len(t.Slots); i++ {
			for _, step := range steps {
				image := make([]uint16, len(start))
				for j, x := range t.Slots[i] {
					image[j] = step[x]
				}
				key := fmt.Sprint(image)
				if _, seen := index[key]; seen {
					continue
				}
				if len(t.Slots) >= maxSlots {
					return fmt.Errorf("too many pieces: one type has more than %d slots", maxSlots)
				}
				index[key] = len(t.Slots)
				t.Slots = append(t.Slots, image)
			}
		}
		slices.SortFunc(t.Slots, b.compareSlots)
		for s, slot := range t.Slots {
			piece := p.Stickers[slot[0]].Piece
			i := slices.Index(t.Pieces, piece)
			if i < 0 {
				i = len(t.Pieces)
				t.Pieces = append(t.Pieces, piece)
				p.Pieces[piece].Home = s
				p.Pieces[piece].Stickers = toInts(slot)
				typeOf[piece] = len(p.Types)
			}
			t.Place = append(t.Place, i)
		}
		t.Orientations = len(t.Slots) / len(t.Pieces)
		p.Types = append(p.Types, t)
	}
	b.nameTypes()
	order := make([]int, len(p.Types))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		if d := len(p.Types[i].Pieces) - len(p.Types[j].Pieces); d != 0 {
			return d
		}
		return strings.Compare(p.Types[i].Name, p.Types[j].Name)
	})
	types := make([]Type, len(order))
	for to, from := range order {
		types[to] = p.Types[from]
		for _, piece := range types[to].Pieces {
			p.Pieces[piece].Type = to
		}
	}
	p.Types = types
	return nil
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
	c := b.pieceCentre(piece)
	out := make([]uint16, len(xs))
	for i, x := range xs {
		out[i] = uint16(x)
	}
	if len(xs) < 3 || c.Len() < solid.Epsilon {
		return out
	}
	z := c.Unit()
	ref := b.parts[xs[0]].Centre
	x := ref.Sub(z.Scale(ref.Dot(z)))
	y := x.Cross(z) // clockwise from x as seen from the tip of z
	angle := func(s uint16) float64 {
		a := math.Atan2(b.parts[s].Centre.Dot(y), b.parts[s].Centre.Dot(x))
		if a < -solid.Epsilon {
			a += 2 * math.Pi
		}
		return a
	}
	slices.SortStableFunc(out, func(s, t uint16) int { return compareFloat(angle(s), angle(t)) })
	return out
}

// compareSlots orders slots from the top of the puzzle down, then around; at one
// place the slot whose first sticker is on the face nearest a pole comes first.
func (b *builder) compareSlots(s, t []uint16) int {
	ps, pt := b.p.Stickers[s[0]].Piece, b.p.Stickers[t[0]].Piece
	if ps != pt {
		if d := solid.Latitude(b.pieceCentre(ps), b.pieceCentre(pt)); d != 0 {
			return d
		}
		return ps - pt
	}
	pole := func(x uint16) float64 { return math.Abs(b.solid.Faces[b.p.Stickers[x].Face].Normal[2]) }
	for i := range s {
		ds, dt := pole(s[i]), pole(t[i])
		if math.Abs(ds-dt) > solid.Epsilon {
			return compareFloat(dt, ds)
		}
		if s[i] != t[i] {
			return b.p.Stickers[s[i]].Face - b.p.Stickers[t[i]].Face
		}
	}
	return 0
}

// nameTypes names each type by what its pieces look like. Types that look alike
// are numbered, the one nearest the middle of its face first.
func (b *builder) nameTypes() {
	names := make([]string, len(b.p.Types))
	for i, t := range b.p.Types {
		names[i] = b.looks(t.Pieces[0])
		if own, ok := b.def.TypeNames[names[i]]; ok {
			names[i] = own
		}
	}
	for i := range names {
		var same []int
		for j := i; j < len(names); j++ {
			if names[j] == names[i] {
				same = append(same, j)
			}
		}
		if len(same) == 1 || b.p.Types[i].Name != "" {
			continue
		}
		slices.SortStableFunc(same, func(x, y int) int {
			return compareFloat(b.offCentre(b.p.Types[x].Pieces[0]), b.offCentre(b.p.Types[y].Pieces[0]))
		})
		for k, j := range same {
			b.p.Types[j].Name = fmt.Sprintf("%s-%d", names[j], k+1)
		}
	}
	for i := range names {
		if b.p.Types[i].Name == "" {
			b.p.Types[i].Name = names[i]
		}
	}
}

// offCentre is how far a piece's first sticker is from the middle of its face.
func (b *builder) offCentre(piece int) float64 {
	r := b.parts[b.p.Pieces[piece].Stickers[0]]
	d := r.Centre.Sub(b.solid.Faces[r.Face].Normal).Len()
	return math.Round(d*1e6) / 1e6 // so that rounding does not order mirror images
}

// looks says what a piece looks like.
func (b *builder) looks(piece int) string {
	xs := b.p.Pieces[piece].Stickers
	if len(b.p.Pieces) == 1 || len(xs) > 5 {
		return "core"
	}
	for _, v := range b.solid.Vertices {
		if b.holds(xs, v, func(poly []solid.Vec, v solid.Vec) bool { return slices.ContainsFunc(poly, v.Near) }) {
			return "corner"
		}
	}
	for _, mid := range b.solid.Edges {
		if b.holds(xs, mid, onBorder) {
			return "edge"
		}
	}
	if len(xs) == 1 && contains(b.parts[xs[0]].Outline, b.solid.Faces[b.parts[xs[0]].Face].Normal) {
		return "centre"
	}
	switch len(xs) {
	case 1:
		return shape(b.parts[xs[0]].Outline)
	case 2:
		return "wing"
	}
	return "block"
}

// holds tells whether the stickers touch a vertex or the midpoint of an edge on
// every face that meets there; touches says what it is for one region to do so.
func (b *builder) holds(stickers []int, v solid.Vec, touches func(poly []solid.Vec, v solid.Vec) bool) bool {
	count := 0
	for _, x := range stickers {
		if touches(b.parts[x].Outline, v) {
			count++
		}
	}
	for _, f := range b.solid.Faces {
		if touches(f.Outline, v) {
			count--
		}
	}
	return count == 0
}

// onBorder tells whether v lies within a side of the polygon, not at a corner.
func onBorder(poly []solid.Vec, v solid.Vec) bool {
	for i, a := range poly {
		c := poly[(i+1)%len(poly)]
		if a.Near(v) || c.Near(v) {
			return false
		}
		if math.Abs(a.Sub(v).Len()+v.Sub(c).Len()-a.Sub(c).Len()) < solid.Epsilon {
			return true
		}
	}
	return false
}

// contains tells whether a face's middle lies in a polygon of it, border included.
func contains(poly []solid.Vec, mid solid.Vec) bool {
	for i, a := range poly {
		c := poly[(i+1)%len(poly)]
		if c.Sub(a).Cross(mid.Sub(a)).Dot(mid) < -solid.Epsilon {
			return false
		}
	}
	return true
}

// shape names a polygon.
func shape(poly []solid.Vec) string {
	switch len(poly) {
	case 3:
		return "triangle"
	case 5:
		return "pentagon"
	case 6:
		return "hexagon"
	case 4:
		var side [4]float64
		for i, v := range poly {
			side[i] = v.Sub(poly[(i+1)%4]).Len()
		}
		same := func(i, j int) bool { return math.Abs(side[i]-side[j]) < 1e-6 }
		square := math.Abs(poly[0].Sub(poly[2]).Len()-poly[1].Sub(poly[3]).Len()) < 1e-6
		switch {
		case same(0, 1) && same(1, 2) && square:
			return "square"
		case same(0, 1) && same(1, 2):
			return "rhombus"
		case same(0, 2) && same(1, 3) && square:
			return "rectangle"
		case same(0, 2) && same(1, 3):
			return "parallelogram"
		case same(0, 1) && same(2, 3), same(1, 2) && same(3, 0):
			return "kite"
		}
		return "quad"
	}
	return fmt.Sprintf("polygon%d", len(poly))
}

// label names every slot by the layers that hold it: the axes in whose
// outermost layer it lies, deeper ones with the layer's number in front. Where
// a place has several orientations, the face of the first sticker follows; on
// cubes with letter names it goes first instead, as people write it.
func (b *builder) label() error {
	used := map[string]bool{}
	for i := range b.p.Types {
		t := &b.p.Types[i]
		for _, slot := range t.Slots {
			l := b.slotLabel(slot, t.Orientations)
			for n, base := 2, l; used[t.Name+l]; n++ {
				l = fmt.Sprintf("%s#%d", base, n)
			}
			used[t.Name+l] = true
			t.Labels = append(t.Labels, l)
		}
	}
	return nil
}

func (b *builder) slotLabel(slot []uint16, orientations int) string {
	var caps []string
	plain := true
	for _, a := range b.p.Axes {
		k := b.layer(a.Line, int(slot[0]))
		cuts := b.lines[a.Line].cuts
		if a.Far {
			k = len(cuts) - k
		}
		// The layer lies wholly on the axis's own side if its lower cut does.
		if k == len(cuts) {
			continue
		}
		lower := cuts[k]
		if a.Far {
			lower = -cuts[len(cuts)-1-k]
		}
		switch {
		case lower < -solid.Epsilon:
		case k == 0:
			caps = append(caps, a.Name)
		default:
			caps = append(caps, fmt.Sprintf("%d.%s", k+1, a.Name))
			plain = false
		}
	}
	if b.p.LetterNames && plain && len(caps) == len(slot) {
		letters := ""
		for _, x := range slot {
			letters += b.p.Faces[b.p.Stickers[x].Face]
		}
		return letters
	}
	name := strings.Join(caps, "-")
	if name == "" {
		name = "core"
	}
	if orientations > 1 {
		name += "@" + b.p.Faces[b.p.Stickers[slot[0]].Face]
	}
	return name
}
