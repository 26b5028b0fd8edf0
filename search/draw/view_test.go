package draw

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The faces in sight run anticlockwise, do not overlap, and fill the outline of the
// whole but for slivers at its rim. Those out of sight run clockwise.
func TestViewsShowTheNearFaces(t *testing.T) {
	puzzles := oneOfEach(t)
	var names []string
	for name := range puzzles {
		names = append(names, name)
	}
	slices.Sort(names)
	rapid.Check(t, func(t *rapid.T) {
		b, err := newBody(puzzles[rapid.SampledFrom(names).Draw(t, "solid")])
		require.NoError(t, err)
		c := b.look(
			rapid.Float64Range(-360, 360).Draw(t, "right"), rapid.Float64Range(-360, 360).Draw(t, "up"), rapid.Float64Range(-360, 360).Draw(t, "roll"),
		)
		mirrored := rapid.Bool().Draw(t, "mirrored")
		if mirrored {
			c = c.mirrored()
		}
		n := b.view(c)
		var corners []Point
		for _, v := range b.solid.Vertices {
			corners = append(corners, c.point(v))
		}
		whole, seen := signedArea(hull(corners)), 0.0
		for i, f := range b.solid.Faces {
			var outline []Point
			for _, v := range f.Outline {
				outline = append(outline, c.point(v))
			}
			a := signedArea(outline)
			if mirrored {
				a = -a
			}
			if n.faces[i] == nil {
				assert.Less(t, a, 0.05*whole, "face %d is out of sight", i)
				continue
			}
			assert.Positive(t, a, "face %d is in sight", i)
			seen += a
			for j := range i {
				if n.faces[j] != nil && !mirrored {
					assert.InDelta(t, 0, overlap(outline, n.faces[j]), 1e-9)
				}
			}
		}
		assert.InDelta(t, 1, seen/whole, 0.08)
		for x, s := range b.p.Stickers {
			assert.Equal(t, n.faces[s.Face] != nil, n.stickers[x] != nil, "a sticker is in sight with its face")
		}
	})
}

// hull is the convex hull, anticlockwise (A. M. Andrew, 1979).
func hull(ps []Point) []Point {
	ps = slices.Clone(ps)
	slices.SortFunc(ps, func(a, b Point) int { return slices.Compare(a[:], b[:]) })
	half := func(ps []Point) []Point {
		var out []Point
		for _, p := range ps {
			for len(out) > 1 {
				a, b := out[len(out)-2].to(out[len(out)-1]), out[len(out)-1].to(p)
				if a[0]*b[1]-a[1]*b[0] > 0 {
					break
				}
				out = out[:len(out)-1]
			}
			out = append(out, p)
		}
		return out[:len(out)-1]
	}
	lower := half(ps)
	slices.Reverse(ps)
	return append(lower, half(ps)...)
}

// Looking from an axis, that axis is in the middle of the picture, and what is above
// it in space is above it there.
func TestAViewFromAnAxis(t *testing.T) {
	for _, name := range []string{"3x3x3", "skewb", "vertex-cut-dodecahedron", "face-cut-icosahedron"} {
		p := find(t, name)
		b, err := newBody(p)
		require.NoError(t, err)
		for _, a := range p.Axes {
			right, up, err := b.from(a.Name)
			require.NoError(t, err)
			c := b.look(right, up, 0)
			assert.InDelta(t, 0, c.point(a.Direction).len(), 1e-9, "%s %s", name, a.Name)
			assert.GreaterOrEqual(t, c.y[2], -1e-9)
		}
	}
	// From above, what is in front is below (as the centres of 3x3x3 lie on a table).
	b, err := newBody(find(t, "3x3x3"))
	require.NoError(t, err)
	right, up, err := b.from("U")
	require.NoError(t, err)
	front := b.look(right, up, 0).point([3]float64{0, -1, 0})
	assert.InDelta(t, 0, front[0], 1e-9)
	assert.Less(t, front[1], -0.9)
}

// From the front: R is to the right and U above. Turned half round, R is to the left;
// in a mirror behind, it stays to the right. A viewer who goes to the right sees more
// of R, and a picture tilted by 90 degrees clockwise has U at the right.
func TestTheWaysOfLooking(t *testing.T) {
	b, err := newBody(find(t, "3x3x3"))
	require.NoError(t, err)
	right, up := [3]float64{1, 0, 0}, [3]float64{0, 0, 1}
	front := b.look(0, 0, 0)
	for name, c := range map[string]struct {
		camera camera
		at     [3]float64
		want   Point
	}{
		"R":         {front, right, Point{1, 0}},
		"U":         {front, up, Point{0, 1}},
		"R turned":  {front.turned(), right, Point{-1, 0}},
		"U turned":  {front.turned(), up, Point{0, 1}},
		"R mirror":  {front.mirrored(), right, Point{1, 0}},
		"U mirror":  {front.mirrored(), up, Point{0, 1}},
		"U rolled":  {b.look(0, 0, 90), up, Point{1, 0}},
		"R rolled":  {b.look(0, 0, 90), right, Point{0, -1}},
		"F from up": {b.look(0, 90, 0), [3]float64{0, -1, 0}, Point{0, -1}},
	} {
		assert.InDelta(t, 0, c.camera.point(c.at).to(c.want).len(), 1e-9, name)
	}
	seen := func(c camera) []string {
		var out []string
		for i := range b.view(c).faces {
			out = append(out, b.p.Faces[i])
		}
		slices.Sort(out)
		return out
	}
	assert.Equal(t, []string{"F"}, seen(front))
	assert.Equal(t, []string{"B"}, seen(front.turned()))
	assert.Equal(t, []string{"B"}, seen(front.mirrored()))
	assert.Equal(t, []string{"F", "R", "U"}, seen(b.look(usualRight, usualUp, 0)))
	assert.Equal(t, []string{"B", "D", "L"}, seen(b.look(usualRight, usualUp, 0).turned()))
	assert.Greater(t, front.eye, 2*math.Sqrt(3))
}
