// Package solid knows the five regular solids and how planes cut their faces.
// It is the only place with floating-point numbers: what leaves it is counted,
// compared with a stated tolerance, or refused.
//
// The one idea: cells of an arrangement of planes are convex, so two regions on
// the surface belong to one cell exactly when they are on the same side of
// every plane. A region's sides are therefore its identity.
//
//	s, _ := solid.New("dodecahedron")
//	regions, err := s.Cut([]solid.Plane{{Normal: s.Faces[0].Normal, Depth: 0.5}})
//
// It knows nothing of turns or pieces; package puzzle does.
package solid

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Epsilon is the distance below which two points are the same, in units of the
// inscribed radius. Coordinates are exact to about 1e-15.
const Epsilon = 1e-8

// Solid is a regular solid with inscribed radius 1, centred on the origin and
// standing as a person would put it: z is up, the viewer looks along +y.
type Solid struct {
	Name     string
	Vertices []Vec
	Edges    []Vec // midpoints
	Faces    []Face
}

// Face is one face of a solid.
type Face struct {
	Normal  Vec   // unit vector; also the centre of the face, as the inscribed radius is 1
	Outline []Vec // corners, anticlockwise as seen from outside
}

// Names lists the solids that New knows.
func Names() []string {
	return []string{"tetrahedron", "cube", "octahedron", "dodecahedron", "icosahedron"}
}

// New returns a regular solid by name.
func New(name string) (*Solid, error) {
	corners := coordinates(name)
	if corners == nil {
		return nil, fmt.Errorf("unknown solid %q: use one of %s", name, strings.Join(Names(), ", "))
	}
	s := &Solid{Name: name, Vertices: corners}
	s.findFaces()
	switch name {
	case "cube", "dodecahedron":
		s.stand(s.Faces[0].Normal)
	default:
		s.stand(s.Vertices[0])
	}
	for _, f := range s.Faces {
		for i, v := range f.Outline {
			mid := v.Add(f.Outline[(i+1)%len(f.Outline)]).Scale(0.5)
			if !slices.ContainsFunc(s.Edges, mid.Near) {
				s.Edges = append(s.Edges, mid)
			}
		}
	}
	return s, nil
}

// coordinates gives the usual coordinates of a regular solid's corners.
func coordinates(name string) []Vec {
	phi := (1 + math.Sqrt(5)) / 2
	switch name {
	case "tetrahedron":
		return []Vec{{1, 1, 1}, {1, -1, -1}, {-1, 1, -1}, {-1, -1, 1}}
	case "cube":
		return signed(Vec{1, 1, 1})
	case "octahedron":
		return cyclic(signed(Vec{1, 0, 0}))
	case "dodecahedron":
		return append(signed(Vec{1, 1, 1}), cyclic(signed(Vec{0, 1 / phi, phi}))...)
	case "icosahedron":
		return cyclic(signed(Vec{0, 1, phi}))
	}
	return nil
}

// signed returns v with every choice of signs for its non-zero coordinates.
func signed(v Vec) []Vec {
	out := []Vec{v}
	for i := range v {
		if v[i] == 0 {
			continue
		}
		for _, w := range slices.Clone(out) {
			w[i] = -w[i]
			out = append(out, w)
		}
	}
	return out
}

// cyclic returns each v with its coordinates rotated in the three ways.
func cyclic(vs []Vec) []Vec {
	var out []Vec
	for _, v := range vs {
		out = append(out, v, Vec{v[1], v[2], v[0]}, Vec{v[2], v[0], v[1]})
	}
	return out
}

// findFaces finds the planes through three corners that have no corner above
// them, and scales the solid to inscribed radius 1.
func (s *Solid) findFaces() {
	vs := s.Vertices
	radius := 0.0 // of the inscribed sphere; all faces are equally far out
	for i := range vs {
		for j := range vs {
			for k := range vs {
				n := vs[j].Sub(vs[i]).Cross(vs[k].Sub(vs[i]))
				if n.Len() < Epsilon || n.Dot(vs[i]) <= 0 {
					continue
				}
				n = n.Unit()
				h := n.Dot(vs[i])
				above := func(v Vec) bool { return n.Dot(v) > h+Epsilon }
				known := func(f Face) bool { return f.Normal.Near(n) }
				if slices.ContainsFunc(vs, above) || slices.ContainsFunc(s.Faces, known) {
					continue
				}
				s.Faces = append(s.Faces, Face{Normal: n})
				radius = h
			}
		}
	}
	for i := range vs {
		vs[i] = vs[i].Scale(1 / radius)
	}
	for i := range s.Faces {
		s.Faces[i].Outline = s.ringOf(s.Faces[i].Normal)
	}
}

// ringOf returns the corners of the face with normal n, anticlockwise as seen from outside.
func (s *Solid) ringOf(n Vec) []Vec {
	var ring []Vec
	for _, v := range s.Vertices {
		if math.Abs(n.Dot(v)-1) < Epsilon {
			ring = append(ring, v)
		}
	}
	x := ring[0].Sub(n).Unit()
	y := n.Cross(x)
	angle := func(v Vec) float64 {
		a := math.Atan2(v.Sub(n).Dot(y), v.Sub(n).Dot(x))
		if a < -Epsilon {
			a += 2 * math.Pi
		}
		return a
	}
	slices.SortFunc(ring, func(a, b Vec) int { return Compare(angle(a), angle(b)) })
	return ring
}

// stand rotates the solid so that top points up and one of the faces nearest to
// it, other than a face at the top itself, looks towards the viewer.
func (s *Solid) stand(top Vec) {
	z := top.Unit()
	front := Vec{}
	best := -2.0
	for _, f := range s.Faces {
		if d := f.Normal.Dot(z); d < 1-Epsilon && d > best+Epsilon {
			best, front = d, f.Normal
		}
	}
	y := front.Sub(z.Scale(front.Dot(z))).Unit().Scale(-1) // the viewer is at -y
	x := y.Cross(z)
	turn := Matrix{x, y, z}
	for i := range s.Vertices {
		s.Vertices[i] = turn.Apply(s.Vertices[i])
	}
	for i := range s.Faces {
		s.Faces[i].Normal = turn.Apply(s.Faces[i].Normal)
		for j := range s.Faces[i].Outline {
			s.Faces[i].Outline[j] = turn.Apply(s.Faces[i].Outline[j])
		}
	}
	slices.SortFunc(s.Faces, func(a, b Face) int { return Latitude(a.Normal, b.Normal) })
}
