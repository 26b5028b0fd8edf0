package solid

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// cutsOf are planes across every direction of a kind.
func cutsOf(t require.TestingT, s *Solid, at string, depths ...float64) []Plane {
	dirs, err := s.Directions(at)
	require.NoError(t, err)
	var out []Plane
	for _, dir := range dirs {
		for _, d := range depths {
			out = append(out, Plane{dir, d})
		}
	}
	return out
}

func TestCutCounts(t *testing.T) {
	for _, c := range []struct {
		solid, axes string
		depth       float64
		regions     int
		reason      string
	}{
		{"cube", "faces", 1.0 / 3, 54, "nine on each face"},
		{"cube", "edges", 1 / math.Sqrt2, 48, "the eight triangles between the lines of symmetry and the square through the midpoints of the sides"},
		{"dodecahedron", "faces", math.Sqrt(5) - 2, 132, "a pentagram on each face, its triangles cut: 1 + 5 + 5 regions"},
		{"tetrahedron", "faces", 0.5, 28, "a triangle with its corners cut off: 3 corners, 3 edges, 1 centre"},
	} {
		s, err := New(c.solid)
		require.NoError(t, err)
		regions, err := s.Cut(cutsOf(t, s, c.axes, c.depth), 1000)
		require.NoError(t, err)
		assert.Len(t, regions, c.regions, "%s, %s at %g: %s", c.solid, c.axes, c.depth, c.reason)
	}
}

func TestCutRefuses(t *testing.T) {
	for _, c := range []struct {
		name, solid, axes string
		depths            []float64
		limit             int
		message           string
	}{
		{"a corner cut off", "cube", "vertices", []float64{1.72}, 100, "too small to be a sticker"},
		{"a thin strip", "cube", "faces", []float64{0.9999}, 100, "too small to be a sticker"},
		{"almost through the face centres", "cube", "edges", []float64{0.707107}, 100, "a cut at depth 0.707107 passes a corner at a distance of 4.4e-07, too close to call"},
		{"more than the limit", "cube", "faces", []float64{1.0 / 3}, 53, "too many pieces: the cuts make more than 53 stickers"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := New(c.solid)
			require.NoError(t, err)
			_, err = s.Cut(cutsOf(t, s, c.axes, c.depths...), c.limit)
			assert.ErrorContains(t, err, c.message)
		})
	}
}

// Whatever the planes, regions that are accepted tile the faces, are convex, lie
// clearly on one side of each plane, and have centres that can be told apart.
func TestRegionsTileFaces(t *testing.T) {
	accepted := 0
	rapid.Check(t, func(t *rapid.T) {
		s, err := New(rapid.SampledFrom(Names()).Draw(t, "solid"))
		require.NoError(t, err)
		var planes []Plane
		for range rapid.IntRange(0, 6).Draw(t, "planes") {
			v := Vec{
				rapid.Float64Range(-1, 1).Draw(t, "x"), rapid.Float64Range(-1, 1).Draw(t, "y"), rapid.Float64Range(0.1, 1).Draw(t, "z"),
			}
			planes = append(planes, Plane{v.Unit(), rapid.Float64Range(-1.2, 1.2).Draw(t, "depth")})
		}
		regions, err := s.Cut(planes, 1000)
		if err != nil {
			return
		}
		accepted++
		share := make([]float64, len(s.Faces))
		for i, r := range regions {
			share[r.Face] += r.Area / area(s.Faces[r.Face].Outline)
			for j, v := range r.Outline {
				w, x := r.Outline[(j+1)%len(r.Outline)], r.Outline[(j+2)%len(r.Outline)]
				assert.Positive(t, w.Sub(v).Cross(x.Sub(w)).Dot(s.Faces[r.Face].Normal), "convex, with no idle corner")
				for k, p := range planes {
					d := p.Normal.Dot(v) - p.Depth
					assert.True(t, math.Abs(d) < Epsilon || d > 0 == r.Above[k], "clearly on one side")
				}
			}
			for _, o := range regions[:i] {
				assert.Greater(t, o.Centre.Sub(r.Centre).Len(), 10*Alike)
			}
		}
		for _, total := range share {
			assert.InDelta(t, 1, total, 1e-6)
		}
	})
	assert.Positive(t, accepted)
}

// A plane in which a face lies cuts nothing off it, and leaves it where it is.
func TestAPlaneInAFace(t *testing.T) {
	for _, name := range Names() {
		s, err := New(name)
		require.NoError(t, err)
		for _, f := range s.Faces {
			for _, sign := range []float64{1, -1} {
				p := Plane{f.Normal.Scale(sign), sign * f.Normal.Dot(f.Outline[0])}
				regions, err := s.Cut([]Plane{p, {f.Normal, 0.1}}, 100)
				if err != nil {
					continue // the second one passes corners
				}
				share := make([]float64, len(s.Faces))
				for _, r := range regions {
					share[r.Face] += r.Area / area(s.Faces[r.Face].Outline)
				}
				for i := range share {
					assert.InDelta(t, 1, share[i], 1e-6, "%s, face %d", name, i)
				}
			}
		}
	}
}

func TestLocator(t *testing.T) {
	s, err := New("dodecahedron")
	require.NoError(t, err)
	planes := cutsOf(t, s, "faces", 0.75)
	regions, err := s.Cut(planes, 1000)
	require.NoError(t, err)
	l := NewLocator(regions)
	for _, m := range s.Symmetries() {
		seen := map[int]bool{}
		for _, r := range regions {
			i := l.Image(m, r)
			require.GreaterOrEqual(t, i, 0)
			assert.True(t, regions[i].Centre.Near(m.Apply(r.Centre)))
			seen[i] = true
		}
		assert.Len(t, seen, len(regions))
	}
	off := Rotation(s.Faces[0].Normal, 1)
	assert.Equal(t, -1, l.Image(off, regions[len(regions)/2]), "a rotation by one radian is no symmetry")
}
