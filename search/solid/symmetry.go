package solid

import (
	"math"
	"slices"
)

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
				m := inv.Then(columns(a, b, c))
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
	i := slices.IndexFunc(rotations, Matrix{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}.Near)
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
