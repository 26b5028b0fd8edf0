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

// findFaces finds the supporting planes through three corners that have no
// corner above them, and scales the solid to inscribed radius 1.
func (s *Solid) findFaces() {
	vs := s.Vertices
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
			}
		}
	}
	radius := s.Faces[0].Normal.Dot(vs[0])
	for _, v := range vs {
		radius = max(radius, s.Faces[0].Normal.Dot(v))
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
	slices.SortFunc(ring, func(a, b Vec) int { return compare(angle(a), angle(b)) })
	return ring
}

// stand rotates the solid so that top points up and the foremost corner of the
// face or faces about it is in front, as far as it can be.
func (s *Solid) stand(top Vec) {
	z := top.Unit()
	// The nearest face that is not at the top shall look at the viewer.
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

// Directions returns unit vectors towards the faces, vertices or edges, from
// the top down and then around, in the order of Latitude.
func (s *Solid) Directions(at string) ([]Vec, error) {
	var out []Vec
	switch at {
	case "faces":
		for _, f := range s.Faces {
			out = append(out, f.Normal)
		}
	case "vertices":
		for _, v := range s.Vertices {
			out = append(out, v.Unit())
		}
	case "edges":
		for _, e := range s.Edges {
			out = append(out, e.Unit())
		}
	default:
		return nil, fmt.Errorf("axes at %q: use faces, vertices or edges", at)
	}
	slices.SortFunc(out, Latitude)
	return out, nil
}

// Extent returns how far the solid reaches along a unit direction, down and up.
func (s *Solid) Extent(dir Vec) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, v := range s.Vertices {
		low, high = min(low, dir.Dot(v)), max(high, dir.Dot(v))
	}
	return low, high
}

// Through returns the depth along dir of the nearest feature (vertices, edges
// for their midpoints, faces for their centres, centre) below the solid's top
// there. It fails where that would leave nothing to cut off.
func (s *Solid) Through(dir Vec, feature string) (float64, error) {
	var points []Vec
	switch feature {
	case "vertices":
		points = s.Vertices
	case "edges":
		points = s.Edges
	case "faces":
		for _, f := range s.Faces {
			points = append(points, f.Normal)
		}
	case "centre":
		return 0, nil
	default:
		return 0, fmt.Errorf("a cut through %q: use vertices, edges, faces or centre", feature)
	}
	low, high := s.Extent(dir)
	best := math.Inf(-1)
	for _, p := range points {
		if d := dir.Dot(p); d < high-Epsilon && d > best {
			best = d
		}
	}
	if best <= low+Epsilon {
		return 0, fmt.Errorf("a cut through %s would lie outside the solid", feature)
	}
	return best, nil
}

// Symmetries returns every rotation and reflection that carries the solid to
// itself: the identity, then the other rotations, then the reflections.
func (s *Solid) Symmetries() []Matrix {
	// Three corners that span space determine a linear map by their images;
	// the map is a symmetry if lengths and angles agree and corners go to corners.
	base := s.spanning()
	inv := columns(base[0], base[1], base[2]).inverse()
	same := func(a, b, c, d Vec) bool { return math.Abs(a.Dot(b)-c.Dot(d)) < Epsilon }
	var rotations, reflections []Matrix
	for _, a := range s.Vertices {
		for _, b := range s.Vertices {
			if !same(a, b, base[0], base[1]) {
				continue
			}
			for _, c := range s.Vertices {
				if !same(a, c, base[0], base[2]) || !same(b, c, base[1], base[2]) {
					continue
				}
				m := columns(a, b, c).times(inv)
				if !s.keeps(m) {
					continue
				}
				if m.Det() > 0 {
					rotations = append(rotations, m)
				} else {
					reflections = append(reflections, m)
				}
			}
		}
	}
	isIdentity := func(m Matrix) bool {
		return m[0].Near(Vec{1, 0, 0}) && m[1].Near(Vec{0, 1, 0}) && m[2].Near(Vec{0, 0, 1})
	}
	i := slices.IndexFunc(rotations, isIdentity)
	rotations[0], rotations[i] = rotations[i], rotations[0]
	return append(rotations, reflections...)
}

func (s *Solid) spanning() [3]Vec {
	a := s.Vertices[0]
	for _, b := range s.Vertices {
		for _, c := range s.Vertices {
			if math.Abs(a.Dot(b.Cross(c))) > 1e-3 {
				return [3]Vec{a, b, c}
			}
		}
	}
	panic("solid: corners in one plane")
}

func (s *Solid) keeps(m Matrix) bool {
	for _, v := range s.Vertices {
		if !slices.ContainsFunc(s.Vertices, m.Apply(v).Near) {
			return false
		}
	}
	return true
}

// Latitude orders directions from the top down; those level with one another
// start at the one in front, seen by a viewer at -y, and go on to the right.
func Latitude(a, b Vec) int {
	if math.Abs(a[2]-b[2]) > Epsilon {
		return compare(b[2], a[2])
	}
	return compare(azimuth(a), azimuth(b))
}

// azimuth is the angle from the front, anticlockwise as seen from above, in [0, 2π).
func azimuth(v Vec) float64 {
	if math.Hypot(v[0], v[1]) < Epsilon {
		return 0
	}
	a := math.Atan2(v[0], -v[1])
	if a < -Epsilon {
		a += 2 * math.Pi
	}
	return a
}

func compare(a, b float64) int {
	switch {
	case math.Abs(a-b) < Epsilon:
		return 0
	case a < b:
		return -1
	}
	return 1
}
