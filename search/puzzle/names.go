package puzzle

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"turnwright/search/solid"
)

// nameTypes names each type by what its pieces look like, or as the definition
// says, and sorts them.
func (b *builder) nameTypes() error {
	types := b.p.Types
	for i, name := range b.looksOfTypes() {
		types[i].Name = name
	}
	if err := b.rename(); err != nil {
		return err
	}
	slices.SortStableFunc(types, func(s, t Type) int {
		return cmp.Or(len(s.Pieces)-len(t.Pieces), compareNames(s.Name, t.Name))
	})
	for i, t := range types {
		for _, piece := range t.Pieces {
			b.p.Pieces[piece].Type = i
		}
	}
	return nil
}

// compareNames orders names as people do: wing-2 comes before wing-10.
func compareNames(a, b string) int {
	baseA, numberA := cutNumber(a)
	baseB, numberB := cutNumber(b)
	return cmp.Or(strings.Compare(baseA, baseB), numberA-numberB, strings.Compare(a, b))
}

// cutNumber cuts the number off the end of a name; it is 0 where there is none.
func cutNumber(name string) (base string, number int) {
	i := strings.LastIndexByte(name, '-') + 1
	number, err := strconv.Atoi(name[i:])
	if i == 0 || err != nil {
		return name, 0
	}
	return name[:i], number
}

// looksOfTypes tells what the pieces of each type look like. Types that look
// alike are numbered, those nearest the middle of their face first.
func (b *builder) looksOfTypes() []string {
	names := make([]string, len(b.p.Types))
	alike := map[string][]int{}
	for i, t := range b.p.Types {
		names[i] = b.looks(t.Pieces[0])
		alike[names[i]] = append(alike[names[i]], i)
	}
	for _, group := range alike {
		if len(group) == 1 {
			continue
		}
		slices.SortStableFunc(group, func(i, j int) int {
			return solid.Compare(b.offCentre(b.p.Types[i]), b.offCentre(b.p.Types[j]))
		})
		for n, i := range group {
			names[i] = fmt.Sprintf("%s-%d", names[i], n+1)
		}
	}
	return names
}

// offCentre is how far the first sticker of a type's pieces is from the middle of its face.
func (b *builder) offCentre(t Type) float64 {
	r := b.parts[t.Slots[0][0]]
	return r.Centre.Sub(b.solid.Faces[r.Face].Normal).Len()
}

// rename gives types the names that the definition has for them.
func (b *builder) rename() error {
	types := b.p.Types
	var looks, names []string
	for _, t := range types {
		looks = append(looks, t.Name)
	}
	for _, from := range slices.Sorted(maps.Keys(b.def.TypeNames)) {
		i := slices.Index(looks, from)
		if i < 0 {
			return fmt.Errorf("type-names: no pieces look like %.70q; there are %s", from, strings.Join(slices.Sorted(slices.Values(looks)), ", "))
		}
		types[i].Name = b.def.TypeNames[from]
	}
	for _, t := range types {
		if slices.Contains(names, t.Name) {
			return fmt.Errorf("type-names: two types are named %q", t.Name)
		}
		names = append(names, t.Name)
	}
	return nil
}

// looks says what a piece looks like.
func (b *builder) looks(piece int) string {
	xs := b.p.Pieces[piece].Stickers
	corners := b.held(xs, b.solid.Vertices, isCorner)
	edges := b.held(xs, b.solid.Edges, onSide)
	switch {
	case b.isCore(xs[0]):
		return "core"
	case corners == 1:
		return "corner"
	case corners == 0 && edges == 1:
		return "edge"
	case corners+edges == 0 && len(xs) == 2:
		return "wing"
	case len(xs) > 1:
		return "block"
	}
	r := b.parts[xs[0]]
	if contains(r.Outline, b.solid.Faces[r.Face].Normal) {
		return "centre"
	}
	return shape(r.Outline)
}

// isCore tells whether the piece of a sticker holds the centre of the solid.
func (b *builder) isCore(sticker int) bool {
	for i, l := range b.lines {
		if l.deep() || b.layer(i, sticker) != l.central() {
			return false
		}
	}
	return true
}

// held counts the points, vertices or midpoints of edges, that stickers touch on
// every face that meets there; touches says what it is for a polygon to do so.
func (b *builder) held(stickers []int, points []solid.Vec, touches func(poly []solid.Vec, v solid.Vec) bool) int {
	held := 0
	for _, v := range points {
		faces := 0
		for _, f := range b.solid.Faces {
			if touches(f.Outline, v) {
				faces++
			}
		}
		for _, x := range stickers {
			if touches(b.parts[x].Outline, v) {
				faces--
			}
		}
		if faces == 0 {
			held++
		}
	}
	return held
}

func isCorner(poly []solid.Vec, v solid.Vec) bool { return slices.ContainsFunc(poly, v.Near) }

// onSide tells whether v lies within a side of the polygon, not at a corner.
func onSide(poly []solid.Vec, v solid.Vec) bool {
	if isCorner(poly, v) {
		return false
	}
	for i, a := range poly {
		side := poly[(i+1)%len(poly)].Sub(a)
		along := v.Sub(a).Dot(side) / side.Dot(side)
		if along > 0 && along < 1 && a.Add(side.Scale(along)).Near(v) {
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
	case 4:
		return shapeOfFour(poly)
	case 5:
		return "pentagon"
	case 6:
		return "hexagon"
	}
	return fmt.Sprintf("polygon%d", len(poly))
}

func shapeOfFour(poly []solid.Vec) string {
	same := func(a, b float64) bool { return solid.Compare(a, b) == 0 }
	side := func(i int) float64 { return poly[i].Sub(poly[(i+1)%4]).Len() }
	opposite := same(side(0), side(2)) && same(side(1), side(3))
	all := opposite && same(side(0), side(1))
	upright := same(poly[0].Sub(poly[2]).Len(), poly[1].Sub(poly[3]).Len()) // its diagonals are equal
	switch {
	case all && upright:
		return "square"
	case all:
		return "rhombus"
	case opposite && upright:
		return "rectangle"
	case opposite:
		return "parallelogram"
	case same(side(0), side(1)) && same(side(2), side(3)), same(side(1), side(2)) && same(side(3), side(0)):
		return "kite"
	}
	return "quad"
}
