package draw

import (
	"fmt"

	"turnwright/search/puzzle"
	"turnwright/search/solid"
)

// panel is the surface of a puzzle laid flat, by unfolding it or by looking at it.
// Its unit is the inscribed radius, and y goes up.
type panel struct {
	faces    map[int][]Point // outlines of the faces that are seen
	stickers [][]Point       // for each sticker its outline; nil where it is out of sight
	centres  []Point         // for each sticker its middle, also where it is out of sight
	names    []name
	axes     []axis
	caption  string // what this panel is, where it is not the only one
}

// name is the name of a face at its middle, or of an axis where it comes out.
type name struct {
	at      Point
	text    string
	axis    bool
	inwards Point // for an axis, the middle of the face: the name stands a little towards it
}

// axis is the end of an axis that stands out of the surface.
type axis struct {
	name   string
	from   Point
	tips   []Point // where the end may be, the usual place first
	behind bool    // it comes out on the far side
}

// body is what panels are made from.
type body struct {
	p       *puzzle.Puzzle
	solid   *solid.Solid
	centres []solid.Vec // the middle of each sticker
}

func newBody(p *puzzle.Puzzle) (*body, error) {
	s, err := solid.New(p.Def.Solid)
	if err != nil {
		return nil, err
	}
	if len(s.Faces) != len(p.Faces) {
		return nil, fmt.Errorf("puzzle %q has %d faces and its solid %d", p.Name, len(p.Faces), len(s.Faces))
	}
	b := &body{p: p, solid: s}
	for _, st := range p.Stickers {
		b.centres = append(b.centres, middle(st.Outline))
	}
	return b, nil
}

// middle is the centroid of a flat convex polygon.
func middle(poly [][3]float64) solid.Vec {
	first := solid.Vec(poly[0])
	var sum solid.Vec
	total := 0.0
	for i := 1; i+1 < len(poly); i++ {
		u, v := solid.Vec(poly[i]).Sub(first), solid.Vec(poly[i+1]).Sub(first)
		area := u.Cross(v).Len() / 2
		sum = sum.Add(u.Add(v).Scale(area / 3))
		total += area
	}
	return first.Add(sum.Scale(1 / total))
}

// exit is where a direction from the centre leaves the solid, and the faces there.
func (b *body) exit(dir solid.Vec) (at solid.Vec, faces []int) {
	most := 0.0
	for _, f := range b.solid.Faces {
		most = max(most, f.Normal.Dot(dir))
	}
	for i, f := range b.solid.Faces {
		if f.Normal.Dot(dir) > most-solid.Epsilon {
			faces = append(faces, i)
		}
	}
	return dir.Scale(1 / most), faces
}
