package solid

import "math"

// Vec is a point or direction in space.
type Vec [3]float64

// Add returns a + b.
func (a Vec) Add(b Vec) Vec { return Vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

// Sub returns a - b.
func (a Vec) Sub(b Vec) Vec { return Vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

// Scale returns f times a.
func (a Vec) Scale(f float64) Vec { return Vec{f * a[0], f * a[1], f * a[2]} }

// Dot returns the scalar product.
func (a Vec) Dot(b Vec) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// Cross returns the vector product.
func (a Vec) Cross(b Vec) Vec {
	return Vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

// Len returns the length of a.
func (a Vec) Len() float64 { return math.Sqrt(a.Dot(a)) }

// Unit returns a scaled to length 1.
func (a Vec) Unit() Vec { return a.Scale(1 / a.Len()) }

// Near tells whether a and b are the same point up to rounding.
func (a Vec) Near(b Vec) bool { return a.Sub(b).Len() < Epsilon }

// Matrix is a linear map, by rows: row i gives coordinate i of the image.
type Matrix [3]Vec

// Apply returns the image of v.
func (m Matrix) Apply(v Vec) Vec { return Vec{m[0].Dot(v), m[1].Dot(v), m[2].Dot(v)} }

// Det returns the determinant: +1 for a rotation, -1 for a reflection.
func (m Matrix) Det() float64 { return m[0].Dot(m[1].Cross(m[2])) }

// columns returns the matrix that has the given columns.
func columns(a, b, c Vec) Matrix {
	return Matrix{{a[0], b[0], c[0]}, {a[1], b[1], c[1]}, {a[2], b[2], c[2]}}
}

// Then is m followed by n.
func (m Matrix) Then(n Matrix) Matrix {
	column := func(j int) Vec { return n.Apply(Vec{m[0][j], m[1][j], m[2][j]}) }
	return columns(column(0), column(1), column(2))
}

// Near tells whether m and n are the same map up to rounding.
func (m Matrix) Near(n Matrix) bool {
	return m[0].Near(n[0]) && m[1].Near(n[1]) && m[2].Near(n[2])
}

func (m Matrix) inverse() Matrix {
	d := m.Det()
	c0, c1, c2 := m[1].Cross(m[2]), m[2].Cross(m[0]), m[0].Cross(m[1])
	return columns(c0.Scale(1/d), c1.Scale(1/d), c2.Scale(1/d))
}

// Rotation returns the rotation about a unit axis by an angle in radians,
// anticlockwise as seen from the tip of the axis (Rodrigues, 1840).
func Rotation(axis Vec, angle float64) Matrix {
	s, c := math.Sincos(angle)
	x, y, z := axis[0], axis[1], axis[2]
	return Matrix{
		{c + x*x*(1-c), x*y*(1-c) - z*s, x*z*(1-c) + y*s},
		{y*x*(1-c) + z*s, c + y*y*(1-c), y*z*(1-c) - x*s},
		{z*x*(1-c) - y*s, z*y*(1-c) + x*s, c + z*z*(1-c)},
	}
}
