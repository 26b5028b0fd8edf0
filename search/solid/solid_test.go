package solid

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Counts of features and symmetries are Euclid's and the orders of the polyhedral
// groups; ratios of circumscribed to inscribed radius are from H. S. M. Coxeter,
// Regular Polytopes, table I (from memory; the tetrahedron and the cube are plain).
func TestRegularSolids(t *testing.T) {
	for _, c := range []struct {
		name                            string
		vertices, edges, faces, corners int
		rotations                       int
		ratio                           float64
	}{
		{"tetrahedron", 4, 6, 4, 3, 12, 3},
		{"cube", 8, 12, 6, 4, 24, math.Sqrt(3)},
		{"octahedron", 6, 12, 8, 3, 24, math.Sqrt(3)},
		{"dodecahedron", 20, 30, 12, 5, 60, math.Sqrt(15 - 6*math.Sqrt(5))},
		{"icosahedron", 12, 30, 20, 3, 60, math.Sqrt(15 - 6*math.Sqrt(5))},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := New(c.name)
			require.NoError(t, err)
			assert.Len(t, s.Vertices, c.vertices)
			assert.Len(t, s.Edges, c.edges)
			assert.Len(t, s.Faces, c.faces)
			for _, v := range s.Vertices {
				assert.InDelta(t, c.ratio, v.Len(), 1e-12)
			}
			for _, f := range s.Faces {
				assert.InDelta(t, 1, f.Normal.Len(), 1e-12)
				require.Len(t, f.Outline, c.corners)
				for i, v := range f.Outline {
					assert.InDelta(t, 1, v.Dot(f.Normal), 1e-12, "the inscribed radius")
					next := f.Outline[(i+1)%c.corners]
					assert.Positive(t, v.Cross(next).Dot(f.Normal), "anticlockwise as seen from outside")
				}
			}
			all := s.Symmetries()
			require.Len(t, all, 2*c.rotations)
			assert.True(t, all[0].Near(Matrix{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}))
			for i, m := range all {
				want := 1.0
				if i >= c.rotations {
					want = -1
				}
				assert.InDelta(t, want, m.Det(), 1e-12)
			}
		})
	}
}

func TestUnknownSolid(t *testing.T) {
	_, err := New("sphere")
	assert.EqualError(t, err, `unknown solid "sphere": use one of tetrahedron, cube, octahedron, dodecahedron, icosahedron`)
}

// A person sees a face or a vertex on top, and looks at a face.
func TestStanding(t *testing.T) {
	up := Vec{0, 0, 1}
	for _, c := range []struct{ name, top string }{
		{"tetrahedron", "vertices"}, {"cube", "faces"}, {"octahedron", "vertices"},
		{"dodecahedron", "faces"}, {"icosahedron", "vertices"},
	} {
		s, err := New(c.name)
		require.NoError(t, err)
		dirs, err := s.Directions(c.top)
		require.NoError(t, err)
		assert.True(t, dirs[0].Near(up), c.name)
		front := 0
		for _, f := range s.Faces {
			if math.Abs(f.Normal[0]) < Epsilon && f.Normal[1] < -Epsilon {
				front++
			}
		}
		assert.Positive(t, front, "%s: a face looks at the viewer", c.name)
	}
}

func TestLatitude(t *testing.T) {
	s, err := New("cube")
	require.NoError(t, err)
	dirs, err := s.Directions("faces")
	require.NoError(t, err)
	top, front, right, back, left, bottom := Vec{0, 0, 1}, Vec{0, -1, 0}, Vec{1, 0, 0}, Vec{0, 1, 0}, Vec{-1, 0, 0}, Vec{0, 0, -1}
	for i, want := range []Vec{top, front, right, back, left, bottom} {
		assert.True(t, dirs[i].Near(want), "direction %d is %v", i, dirs[i])
	}
	for _, at := range []string{"faces", "vertices", "edges"} {
		for _, name := range Names() {
			s, err := New(name)
			require.NoError(t, err)
			dirs, err := s.Directions(at)
			require.NoError(t, err)
			for i := 1; i < len(dirs); i++ {
				assert.Negative(t, Latitude(dirs[i-1], dirs[i]), "%s, %s: no two directions are level and in line", name, at)
			}
		}
	}
	_, err = s.Directions("corners")
	assert.EqualError(t, err, `axes at "corners": use faces, vertices or edges`)
}

// Depths that follow by elementary geometry; the one of the demo puzzle, √5−2, is
// its definition.
func TestThrough(t *testing.T) {
	for _, c := range []struct {
		solid, axes, feature string
		depth                float64
	}{
		{"dodecahedron", "faces", "vertices", math.Sqrt(5) - 2},
		{"dodecahedron", "faces", "faces", 1 / math.Sqrt(5)},
		{"dodecahedron", "faces", "centre", 0},
		{"cube", "vertices", "vertices", 1 / math.Sqrt(3)},
		{"cube", "vertices", "faces", 1 / math.Sqrt(3)},
		{"cube", "edges", "faces", 1 / math.Sqrt(2)},
		{"cube", "faces", "edges", 0},
		{"octahedron", "vertices", "faces", 1 / math.Sqrt(3)},
		{"octahedron", "vertices", "vertices", 0},
		{"tetrahedron", "vertices", "edges", 1},
		{"icosahedron", "vertices", "vertices", math.Sqrt(15-6*math.Sqrt(5)) / math.Sqrt(5)},
	} {
		s, err := New(c.solid)
		require.NoError(t, err)
		dirs, err := s.Directions(c.axes)
		require.NoError(t, err)
		for _, dir := range dirs {
			d, err := s.Through(dir, c.feature)
			require.NoError(t, err)
			assert.InDelta(t, c.depth, d, 1e-12, "%s, %s through %s", c.solid, c.axes, c.feature)
		}
	}
}

func TestThroughRefuses(t *testing.T) {
	s, err := New("tetrahedron")
	require.NoError(t, err)
	_, err = s.Through(s.Faces[0].Normal, "vertices") // there is only the vertex opposite
	assert.EqualError(t, err, "a cut through vertices would lie outside the solid")
	_, err = s.Through(s.Faces[0].Normal, "holes")
	assert.EqualError(t, err, `a cut through "holes": use vertices, edges, faces or centre`)
}
