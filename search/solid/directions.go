package solid

import (
	"fmt"
	"math"
	"slices"
)

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

// Latitude orders directions from the top down; those level with one another
// start at the one in front, seen by a viewer at -y, and go on to the right.
func Latitude(a, b Vec) int {
	if math.Abs(a[2]-b[2]) > Epsilon {
		return Compare(b[2], a[2])
	}
	return Compare(azimuth(a), azimuth(b))
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

// Compare orders numbers; those nearer than Epsilon are equal.
func Compare(a, b float64) int {
	switch {
	case math.Abs(a-b) < Epsilon:
		return 0
	case a < b:
		return -1
	}
	return 1
}
