package puzzle_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// Every built-in puzzle, with "pieces × orientations" for each type. The counts
// are made by hand from the solid, as the last column says; those of the
// vertex-cut dodecahedron are its definition: 12 centres, 30 edges, 60 triangles.
func TestBuiltinCounts(t *testing.T) {
	untested := map[string]bool{}
	for _, d := range puzzle.Builtin() {
		untested[d.Name] = true
	}
	for _, c := range []struct {
		puzzle               string
		stickers             int
		rotations, symmetric int
		lines, layers, steps int
		types                string
		reason               string
	}{
		{"cube-2", 24, 24, 48, 3, 2, 4, "corner 8×3", "8 vertices; 6·2² stickers"},
		{"cube-3", 54, 24, 48, 3, 3, 4, "centre 6×1, corner 8×3, edge 12×2", "6 faces, 8 vertices, 12 edges; 6·3² stickers"},
		{"cube-4", 96, 24, 48, 3, 4, 4, "corner 8×3, centre 24×1, wing 24×1", "4 inner squares a face, 2 wings an edge; 6·4² stickers"},
		{"cube-5", 150, 24, 48, 3, 5, 4, "centre 6×1, corner 8×3, edge 12×2, t-centre 24×1, wing 24×1, x-centre 24×1",
			"9 inner squares a face: the middle, 4 beside it, 4 across; 2 wings and an edge an edge"},
		{"cube-6", 216, 24, 48, 3, 6, 4, "corner 8×3, inner-wing 24×1, inner-x-centre 24×1, oblique-1 24×1, oblique-2 24×1, outer-wing 24×1, outer-x-centre 24×1",
			"16 inner squares a face: 4 around the middle, 4 in the corners, and 8 that are mirror images by fours; 4 wings an edge"},
		{"cube-7", 294, 24, 48, 3, 7, 4, "centre 6×1, corner 8×3, edge 12×2, inner-t-centre 24×1, inner-wing 24×1, inner-x-centre 24×1, oblique-1 24×1, oblique-2 24×1, outer-t-centre 24×1, outer-wing 24×1, outer-x-centre 24×1",
			"25 inner squares a face: the middle, 4 and 4 next to it, 4 and 4 at the rim, and 8 that are mirror images by fours"},
		{"centre-cut-vertex-cube", 30, 24, 48, 4, 2, 3, "corner-1 4×3, corner-2 4×3, centre 6×1",
			"a square in each face and a triangle at each vertex; no turn carries a vertex to its neighbour, so they are two tetrahedra"},
		{"vertex-cube", 24, 24, 48, 4, 3, 3, "edge 12×1", "each cut contains three diagonals, so each face is cut in 4 triangles; a turn moves an edge along a triangle of three and never turns it round: 12!/2 positions, OEIS A079766"},
		{"edge-cube", 48, 24, 48, 6, 3, 2, "corner 8×3, centre 24×1", "the lines of symmetry and the square in each face: 4 triangles at vertices, 4 around the middle"},
		{"tipped-tetrahedron", 36, 12, 24, 4, 3, 3, "axial 4×3, tip 4×3, edge 6×2", "9 triangles a face: 3 tips, 3 beside them, 3 on the edges"},
		{"tetrahedron", 24, 12, 24, 4, 2, 3, "corner 4×3, edge 6×2", "6 regions a face: tips are one with what is beside them"},
		{"face-tetrahedron", 28, 12, 24, 4, 2, 3, "centre 4×1, corner 4×3, edge 6×2", "7 regions a face: 3 corners, 3 edges, the middle"},
		{"centre-cut-octahedron", 32, 24, 48, 4, 2, 3, "centre-1 4×1, centre-2 4×1, corner 6×2", "4 triangles a face; a turn carries a vertex to others in two of its four orientations: 138,240 positions, OEIS A079743"},
		{"vertex-octahedron", 48, 24, 48, 3, 3, 4, "corner 6×4, edge 12×2", "cuts meet in the middle of each face: 3 corners, 3 edges"},
		{"shallow-cut-dodecahedron", 132, 60, 120, 6, 3, 5, "centre 12×1, corner 20×3, edge 30×2", "12 faces, 20 vertices, 30 edges: 1 + 5 + 5 stickers a face"},
		{"face-cut-dodecahedron", 120, 60, 120, 6, 3, 5, "corner 20×3, edge 30×2", "cuts meet in the middle of each face, and leave nothing there: 5 + 5 stickers a face"},
		{"vertex-cut-dodecahedron", 132, 60, 120, 6, 3, 5, "centre 12×1, edge 30×2, triangle 60×1", "its definition; 1 + 5 + 5 stickers a face"},
		{"centre-cut-dodecahedron", 72, 60, 120, 6, 2, 5, "centre 12×1, corner 20×3", "five lines through the midpoints of edges: a pentagon and 5 corners a face"},
		{"face-cut-icosahedron", 120, 60, 120, 6, 3, 5, "corner 12×5, edge 30×2", "cuts meet in the middle of each face: 3 corners, 3 edges"},
		{"vertex-cut-icosahedron", 20, 60, 120, 6, 3, 5, "centre 20×1", "cuts go along edges: each face is one piece"},
	} {
		t.Run(c.puzzle, func(t *testing.T) {
			p, err := puzzle.Find(c.puzzle)
			require.NoError(t, err)
			types := ""
			for i, ty := range p.Types {
				if i > 0 {
					types += ", "
				}
				types += fmt.Sprintf("%s %d×%d", ty.Name, len(ty.Pieces), ty.Orientations)
			}
			assert.Equal(t, c.types, types, c.reason)
			assert.Len(t, p.Stickers, c.stickers, c.reason)
			assert.Equal(t, c.rotations, p.Rotations)
			assert.Len(t, p.Symmetries, c.symmetric)
			assert.Len(t, p.Lines, c.lines)
			for _, l := range p.Lines {
				assert.Equal(t, []int{c.layers, c.steps}, []int{l.Layers, l.Steps})
			}
		})
		delete(untested, c.puzzle)
	}
	assert.Empty(t, untested)
}

func TestFind(t *testing.T) {
	for _, d := range puzzle.Builtin() {
		p, err := puzzle.Find(d.Name)
		require.NoError(t, err)
		assert.Equal(t, d, p.Def)
		assert.NotEmpty(t, p.Title)
		for _, alias := range d.Aliases {
			same, err := puzzle.Find(alias)
			require.NoError(t, err)
			assert.Same(t, p, same, "built once")
		}
	}
	_, err := puzzle.Find("cube-1")
	assert.ErrorContains(t, err, `unknown puzzle "cube-1": built in are cube-2, cube-3,`)
}

// Names of events are those of WCA Regulation 9b.
func TestAliases(t *testing.T) {
	for _, alias := range []string{"2x2x2", "3x3x3", "4x4x4", "5x5x5", "6x6x6", "7x7x7", "megaminx", "pyraminx", "skewb"} {
		_, err := puzzle.Find(alias)
		assert.NoError(t, err)
	}
}

// The demo puzzle as people know it: what one step of a layer does (common
// practice, and easy to count on a drawing).
func TestDemoTurns(t *testing.T) {
	p, err := puzzle.Find("vertex-cut-dodecahedron")
	require.NoError(t, err)
	for _, c := range []struct {
		layer                     int
		centres, edges, triangles int // 5-cycles
	}{
		{1, 1, 2, 5},
		{2, 0, 2, 2},
	} {
		perm := p.TurnPerm(puzzle.Turn{Axis: 0, From: c.layer, To: c.layer, Amount: 1})
		for name, want := range map[string]int{"centre": c.centres, "edge": c.edges, "triangle": c.triangles} {
			i, ok := p.TypeByName(name)
			require.True(t, ok)
			moved := 0
			for _, piece := range p.Types[i].Pieces {
				x := p.Pieces[piece].Stickers[0]
				if p.Stickers[perm[x]].Piece != piece {
					moved++
				}
			}
			assert.Equal(t, 5*want, moved, "%s in layer %d", name, c.layer)
		}
	}
}
