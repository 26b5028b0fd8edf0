package draw

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
	"turnwright/search/solid"
)

func find(t *testing.T, name string) *puzzle.Puzzle {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	return p
}

// oneOfEach is a puzzle on each solid.
func oneOfEach(t *testing.T) map[string]*puzzle.Puzzle {
	return map[string]*puzzle.Puzzle{
		"tetrahedron":  find(t, "pyraminx"),
		"cube":         find(t, "skewb"),
		"octahedron":   find(t, "vertex-octahedron"),
		"dodecahedron": find(t, "vertex-cut-dodecahedron"),
		"icosahedron":  find(t, "face-cut-icosahedron"),
	}
}

func netOf(t *testing.T, p *puzzle.Puzzle) (*body, *panel) {
	t.Helper()
	b, err := newBody(p)
	require.NoError(t, err)
	n, err := b.net()
	require.NoError(t, err)
	return b, n
}

func TestEverySolidHasANetThatHangsTogether(t *testing.T) {
	for _, name := range solid.Names() {
		s, err := solid.New(name)
		require.NoError(t, err)
		tree, ok := trees[name]
		require.True(t, ok, name)
		require.Len(t, tree.hangsOn, len(s.Faces), name)
		for i := range tree.hangsOn {
			steps := 0
			for f := i; f != tree.root; f = tree.hangsOn[f] {
				require.GreaterOrEqual(t, tree.hangsOn[f], 0, "%s: face %d hangs on nothing", name, f)
				sharedEdge(s.Faces[f], s.Faces[tree.hangsOn[f]]) // panics where there is none
				steps++
				require.LessOrEqual(t, steps, len(s.Faces), "%s: face %d hangs on itself", name, i)
			}
		}
		assert.Equal(t, -1, tree.hangsOn[tree.root], name)
	}
}

// Faces of a net keep their shape and their way round, share the edge that they hang
// by, and lie beside one another.
func TestNetsAreUnfoldedWithoutOverlap(t *testing.T) {
	for name, p := range oneOfEach(t) {
		t.Run(name, func(t *testing.T) {
			b, n := netOf(t, p)
			tree := trees[name]
			for i, f := range b.solid.Faces {
				flat := n.faces[i]
				for j, v := range f.Outline {
					for k, w := range f.Outline {
						assert.InDelta(t, v.Sub(w).Len(), flat[j].to(flat[k]).len(), 1e-9)
					}
				}
				assert.Positive(t, signedArea(flat), "anticlockwise, as from outside")
				if on := tree.hangsOn[i]; on >= 0 {
					assert.Equal(t, 2, common(flat, n.faces[on]), "corners shared by %d and %d", i, on)
				}
				for j := range i {
					assert.InDelta(t, 0, overlap(flat, n.faces[j]), 1e-9, "faces %d and %d", i, j)
				}
			}
		})
	}
}

// Every sticker is in its face, and the stickers fill it.
func TestNetsShowEverySticker(t *testing.T) {
	for name, p := range oneOfEach(t) {
		t.Run(name, func(t *testing.T) {
			_, n := netOf(t, p)
			filled := make([]float64, len(p.Faces))
			for x, s := range p.Stickers {
				require.NotNil(t, n.stickers[x])
				a := signedArea(n.stickers[x])
				assert.InDelta(t, a, overlap(n.stickers[x], n.faces[s.Face]), 1e-9)
				assert.True(t, inside(n.stickers[x], n.centres[x]))
				filled[s.Face] += a
			}
			for i := range p.Faces {
				assert.InDelta(t, signedArea(n.faces[i]), filled[i], 1e-9)
			}
		})
	}
}

// The root's neighbours in a cross: what is up in space is up in the net.
func TestTheCubesNetIsACross(t *testing.T) {
	_, n := netOf(t, find(t, "2x2x2"))
	at := map[string]Point{}
	for _, m := range n.names {
		at[m.text] = m.at
	}
	for name, want := range map[string]Point{"F": {0, 0}, "U": {0, 2}, "D": {0, -2}, "L": {-2, 0}, "R": {2, 0}, "B": {4, 0}} {
		assert.InDelta(t, 0, at[name].to(want).len(), 1e-9, name)
	}
}

func TestNetsNameAxesThatAreNotFaces(t *testing.T) {
	_, n := netOf(t, find(t, "skewb"))
	count := map[string]int{}
	for _, m := range n.names {
		if m.axis {
			count[m.text]++
		}
	}
	assert.Len(t, count, 8)
	for name, c := range count {
		assert.Equal(t, 3, c, "faces at corner %s", name)
	}
}

// signedArea is positive for a polygon that runs anticlockwise, y up.
func signedArea(poly []Point) float64 {
	sum := 0.0
	for i, a := range poly {
		b := poly[(i+1)%len(poly)]
		sum += a[0]*b[1] - a[1]*b[0]
	}
	return sum / 2
}

func common(a, b []Point) int {
	n := 0
	for _, p := range a {
		for _, q := range b {
			if p.to(q).len() < 1e-9 {
				n++
			}
		}
	}
	return n
}

// overlap is the area that two convex polygons share: one cut by each side of the
// other (I. E. Sutherland and G. W. Hodgman, 1974).
func overlap(a, b []Point) float64 {
	rest := a
	for i, from := range b {
		side := from.to(b[(i+1)%len(b)])
		left := func(p Point) float64 {
			d := from.to(p)
			return side[0]*d[1] - side[1]*d[0]
		}
		var next []Point
		for j, p := range rest {
			q := rest[(j+1)%len(rest)]
			lp, lq := left(p), left(q)
			if lp >= 0 {
				next = append(next, p)
			}
			if lp*lq < 0 {
				next = append(next, p.plus(p.to(q), lp/(lp-lq)))
			}
		}
		rest = next
	}
	return math.Abs(signedArea(rest))
}
