package solid

import (
	"fmt"
	"math"
)

// Plane is the set of points x with Normal·x = Depth. Normal is a unit vector.
type Plane struct {
	Normal Vec
	Depth  float64
}

// Region is one part of a face after cutting: a convex polygon.
type Region struct {
	Face    int
	Outline []Vec // anticlockwise as seen from outside
	Centre  Vec   // the mean of its corners
	Area    float64
	Above   []bool // for each plane, whether the region is on the side its normal points to; not if it lies in it
}

// Limits of cutting, in units of the inscribed radius and of a face's area.
const (
	tooClose  = 1e-5 // a corner that is this near a plane, and not on it, can't be told from one on it
	vanishing = 1e-9 // regions below this share of the face are rounding
	tooSmall  = 1e-4 // regions below this share are not real stickers
)

// Cut cuts every face by every plane. It refuses cuts that leave regions too
// small to be real, planes too close to a corner of a region to call, and more
// than limit regions.
func (s *Solid) Cut(planes []Plane, limit int) ([]Region, error) {
	var out []Region
	for i, f := range s.Faces {
		parts := [][]Vec{f.Outline}
		for _, p := range planes {
			var next [][]Vec
			for _, part := range parts {
				above, below, err := split(part, p)
				if err != nil {
					return nil, err
				}
				for _, half := range [][]Vec{above, below} {
					if len(half) >= 3 {
						next = append(next, half)
					}
				}
			}
			if parts = next; len(out)+len(parts) > limit {
				return nil, fmt.Errorf("too many pieces: the cuts make more than %d stickers", limit)
			}
		}
		whole := area(f.Outline)
		for _, part := range parts {
			share := area(part) / whole
			switch {
			case share < vanishing:
				continue
			case share < tooSmall:
				return nil, fmt.Errorf("the cuts leave a region of only %.1e of a face: too small to be a sticker; move a cut", share)
			}
			out = append(out, region(i, part, planes, share*whole))
		}
	}
	return out, nil
}

func region(face int, outline []Vec, planes []Plane, area float64) Region {
	r := Region{Face: face, Outline: outline, Area: area}
	for _, v := range outline {
		r.Centre = r.Centre.Add(v.Scale(1 / float64(len(outline))))
	}
	for _, p := range planes {
		r.Above = append(r.Above, p.Normal.Dot(r.Centre)-p.Depth > Epsilon)
	}
	return r
}

// split cuts a convex polygon in two; a part that the plane misses is nil.
func split(poly []Vec, p Plane) (above, below []Vec, err error) {
	side := make([]float64, len(poly))
	for i, v := range poly {
		d := p.Normal.Dot(v) - p.Depth
		switch {
		case math.Abs(d) < Epsilon:
			d = 0
		case math.Abs(d) < tooClose:
			return nil, nil, fmt.Errorf("a cut at depth %.10g passes a corner at a distance of %.1e, too close to call: move it, or give its depth to ten digits", p.Depth, math.Abs(d))
		}
		side[i] = d
	}
	ups, downs := false, false
	for i, v := range poly {
		j := (i + 1) % len(poly)
		a, b := side[i], side[j]
		ups, downs = ups || a > 0, downs || a < 0
		if a >= 0 {
			above = append(above, v)
		}
		if a <= 0 {
			below = append(below, v)
		}
		if a*b < 0 {
			x := v.Add(poly[j].Sub(v).Scale(a / (a - b)))
			above, below = append(above, x), append(below, x)
		}
	}
	switch {
	case !ups && !downs: // it lies in the plane, which cuts nothing
		return nil, poly, nil
	case !ups:
		above = nil
	case !downs:
		below = nil
	}
	return above, below, nil
}

func area(poly []Vec) float64 {
	sum := Vec{}
	for i := 1; i+1 < len(poly); i++ {
		sum = sum.Add(poly[i].Sub(poly[0]).Cross(poly[i+1].Sub(poly[0])))
	}
	return sum.Len() / 2
}
