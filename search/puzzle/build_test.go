package puzzle_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/puzzle"
	"turnwright/search/solid"
)

// Puzzles that people may well define, all of them legal. Types are "pieces ×
// orientations" as in TestBuiltinCounts, counted by hand.
func TestOwnPuzzles(t *testing.T) {
	own := func(name string, groups ...string) string {
		return strings.Replace(cube(groups...), "solid: cube", "solid: "+name, 1)
	}
	for _, c := range []struct {
		name, text           string
		rotations, symmetric int
		lines                string // layers × steps
		types, reason        string
	}{
		{"a brick of 2×2×3", own("cube", "{at: faces, only: [U, D], cuts: [1/3]}", "{at: faces, only: [F, R, B, L], steps: 2, cuts: [through centre]}"),
			8, 16, "3×4 2×2 2×2", "edge 4×2, corner 8×1",
			"half turns of the sides turn edges upside down; corners have no freedom, as no turn brings a side up"},
		{"a brick of 1×2×3", own("cube", "{at: faces, only: [U, D], steps: 2, cuts: [1/3]}", "{at: faces, only: [R, L], steps: 2, cuts: [0]}"),
			4, 8, "3×2 2×2", "block-2 2×2, block-1 4×1", "two blocks of three faces in the middle, four of four at the ends"},
		{"a single axis", own("cube", "{at: faces, only: [U], cuts: [1/3]}"),
			4, 8, "2×4", "block 1×4, core 1×4", "a lid on a box"},
		{"a single line, cut unevenly", own("cube", "{at: faces, only: [U], cuts: [1/3]}", "{at: faces, only: [D], cuts: [1/2]}"),
			4, 8, "3×4", "block-1 1×4, block-2 1×4, core 1×4", "two lids of different height"},
		{"one cut named from both ends", own("cube", "{at: faces, only: [U], cuts: [1/3]}", "{at: faces, only: [D], cuts: [-1/3]}"),
			4, 8, "2×4", "block 1×4, core 1×4", "it is one cut"},
		{"a single axis of layers", own("octahedron", "{at: faces, only: [a1], cuts: [0.5, 0, -0.5]}"),
			3, 6, "4×3", "block-1 1×3, block-2 1×3, block-3 1×3, block-4 1×3", "layers like slices of bread"},
		{"faces and vertices", own("cube", "{at: faces, cuts: [1/3]}", "{at: vertices, cuts: [1]}"),
			24, 48, "3×4 3×3 3×3 3×3 3×3 3×4 3×4", "centre 6×1, block 8×3, corner 8×3, edge 12×2, wing-1 12×2, wing-2 24×1",
			"each vertex plane cuts the 3 stickers around a corner and the edges beside it: corners and edges in two parts, wings between"},
		{"faces and vertices through the centre", own("cube", "{at: faces, cuts: [0]}", "{at: vertices, cuts: [through centre]}"),
			24, 48, "2×4 2×3 2×3 2×3 2×3 2×4 2×4", "corner 8×3, centre 24×1", "each quarter of a face is cut across: a corner and a triangle at the middle"},
		{"the two ends of one line on a tetrahedron", own("tetrahedron", "{at: faces, cuts: [1/2]}", "{at: vertices, cuts: [1.5]}"),
			12, 24, "3×3 3×3 3×3 3×3", "centre 4×1, corner 4×3, edge 6×2, triangle 12×1, wing 12×1", "faces and vertices lie opposite, so that each line has two unlike ends"},
		{"half turns only", own("tetrahedron", "{at: edges, cuts: [0]}"),
			12, 24, "2×2 2×2 2×2", "centre 4×1, corner 4×1", "three planes at right angles; half turns never turn a corner on the spot"},
		{"tips only", own("cube", "{at: vertices, cuts: [1.4]}"),
			24, 48, "3×3 3×3 3×3 3×3", "core 1×12, corner-1 4×3, corner-2 4×3", "turning about vertices only gives the core the 12 rotations of a tetrahedron"},
		{"shallow edges", own("dodecahedron", "{at: edges, cuts: [0.9]}"),
			60, 120, "3×2 3×2 3×2 3×2 3×2 3×2 3×2 3×2 3×2 3×2 3×2 3×2 3×2 3×2 3×2",
			"core 1×60, corner 20×3, edge 30×2, wing 30×2, kite 60×1, pentagon 60×1, triangle-1 60×1, triangle-2 60×1",
			"36 stickers a face: the middle, 5 corners, 5 edges, 5 wings, and 4 kinds of 5 with one sticker"},
		{"nine layers", own("cube", "{at: faces, cuts: [7/9, 5/9, 3/9, 1/9]}"),
			24, 48, "9×4 9×4 9×4",
			"centre 6×1, corner 8×3, edge 12×2, square-1 24×1, square-2 24×1, square-3 24×1, square-4 24×1, square-5 24×1, square-6 24×1, square-7 24×1, square-8 24×1, square-9 24×1, square-10 24×1, square-11 24×1, square-12 24×1, wing-1 24×1, wing-2 24×1, wing-3 24×1",
			"49 inner squares a face, the middle and 12 by fours"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := build(c.text)
			require.NoError(t, err)
			assertSound(t, p)
			assertFrameHolds(t, p)
			var types, lines []string
			for _, ty := range p.Types {
				types = append(types, fmt.Sprintf("%s %d×%d", ty.Name, len(ty.Pieces), ty.Orientations))
			}
			for _, l := range p.Lines {
				lines = append(lines, fmt.Sprintf("%d×%d", l.Layers, l.Steps))
			}
			assert.Equal(t, c.types, strings.Join(types, ", "), c.reason)
			assert.Equal(t, c.lines, strings.Join(lines, " "))
			assert.Equal(t, c.rotations, p.Rotations)
			assert.Len(t, p.Symmetries, c.symmetric)
		})
	}
}

// assertFrameHolds is a short form of the properties in frame_test.go, with turns
// of a plain generator in place of random ones.
func assertFrameHolds(t require.TestingT, p *puzzle.Puzzle) {
	state := 1
	draw := func(_ string, n int) int {
		state = (state*1103515245 + 12345) % (1 << 31)
		return (state >> 8) % n
	}
	for range 5 {
		turns := randomTurns(p, draw, 6)
		word, rotation := p.ToFrame(turns)
		assertSamePerm(t, p.Apply(turns), perm(p, word).Then(p.Symmetries[rotation].Stickers))
		back, left := p.FromFrame(puzzle.OBTM, word)
		assertSamePerm(t, perm(p, word).Then(p.Symmetries[left].Stickers), p.Apply(back))
		assert.LessOrEqual(t, cost(p, puzzle.OBTM, back), cost(p, puzzle.OBTM, turns))
	}
}

// Axes of several kinds share their latitude rings; a face keeps its own name.
func TestAxisNames(t *testing.T) {
	for _, c := range []struct{ text, axes, faces string }{
		{cube("{at: faces, cuts: [0]}"), "U F R B L D", "U F R B L D"},
		{cube("{at: faces, only: [L, U, R, F, B, D], cuts: [0]}"), "U F R B L D", "U F R B L D"},
		{cube("{at: vertices, cuts: [0]}"), "a1 a2 a3 a4 b1 b2 b3 b4", "U F R B L D"},
		{cube("{at: edges, cuts: [0.9]}", "{at: faces, cuts: [1/2]}"), "a b1 b2 b3 b4 c1 c2 c3 c4 c5 c6 c7 c8 d1 d2 d3 d4 e", "U F R B L D"},
		{"name: own\nsolid: dodecahedron\naxes: [{at: faces, cuts: [0.9]}]", "a b1 b2 b3 b4 b5 c1 c2 c3 c4 c5 d", "a b1 b2 b3 b4 b5 c1 c2 c3 c4 c5 d"},
		{"name: own\nsolid: tetrahedron\naxes: [{at: vertices, cuts: [1]}]", "a b1 b2 b3", "a1 a2 a3 b"},
	} {
		p, err := build(c.text)
		require.NoError(t, err)
		var axes []string
		for _, a := range p.Axes {
			axes = append(axes, a.Name)
		}
		assert.Equal(t, c.axes, strings.Join(axes, " "))
		assert.Equal(t, c.faces, strings.Join(p.Faces, " "))
		assert.Equal(t, c.axes == "U F R B L D", p.LetterNames)
	}
}

// Labels are part of what people type and of what is stored, so they stay as they are.
func TestLabels(t *testing.T) {
	for _, c := range []struct{ puzzle, typeName, first string }{
		{"3x3x3", "centre", "U F R B L D"},
		{"3x3x3", "corner", "URF FUR RFU UBR RUB BRU ULB BUL LBU UFL FLU LUF"},
		{"3x3x3", "edge", "UF FU UR RU UB BU UL LU FR RF RB BR"},
		{"4x4x4", "wing", "U-F-2.R U-2.F-R U-R-2.B U-2.R-B"},
		{"4x4x4", "centre", "U-2.F-2.R U-2.R-2.B"},
		{"vertex-cut-dodecahedron", "centre", "a-b1-b2-b3-b4-b5 a-b1-b2-b5-c1-c5"},
		{"vertex-cut-dodecahedron", "edge", "a-b1-b2-b5@a a-b1-b2-b5@b1 a-b1-b2-b3@a a-b1-b2-b3@b2"},
		{"vertex-cut-dodecahedron", "triangle", "a-b1-b2-b3-b5 a-b1-b2-b3-b4"},
		{"pyraminx", "tip", "a@a1 a@a2 a@a3 b1@b"},
		{"pyraminx", "axial", "2.a@a1 2.a@a2 2.a@a3"},
	} {
		p, err := puzzle.Find(c.puzzle)
		require.NoError(t, err)
		i, ok := p.TypeByName(c.typeName)
		require.True(t, ok)
		assert.True(t, strings.HasPrefix(strings.Join(p.Types[i].Labels, " ")+" ", c.first+" "), "%s: %v", c.puzzle, p.Types[i].Labels)
	}
}

// Any solid, any axes, any depths: refused, or sound.
func TestRandomPuzzles(t *testing.T) { rapid.Check(t, buildsSoundOrNot) }

func FuzzBuild(f *testing.F) { f.Fuzz(rapid.MakeFuzz(buildsSoundOrNot)) }

func buildsSoundOrNot(t *rapid.T) {
	def := puzzle.Definition{Name: "own", Solid: rapid.SampledFrom(solid.Names()).Draw(t, "solid")}
	for _, at := range rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"faces", "vertices", "edges"}), 1, 3, rapid.ID).Draw(t, "at") {
		g := puzzle.AxisGroup{At: at, Steps: rapid.SampledFrom([]int{0, 0, 0, 2, 3, 5}).Draw(t, "steps")}
		for _, hundredths := range rapid.SliceOfN(rapid.IntRange(-50, 150), 1, 3).Draw(t, "hundredths") {
			g.Cuts = append(g.Cuts, fmt.Sprintf("%d/100", hundredths))
		}
		if rapid.Bool().Draw(t, "deep") {
			g.Cuts = append(g.Cuts, "through "+rapid.SampledFrom([]string{"vertices", "edges", "faces", "centre"}).Draw(t, "feature"))
		}
		if rapid.IntRange(0, 3).Draw(t, "some axes only") == 0 {
			g.Only = rapid.SliceOfN(rapid.SampledFrom([]string{"a", "a1", "a2", "b1", "b2", "U", "D", "R", "L"}), 1, 4).Draw(t, "only")
		}
		def.Axes = append(def.Axes, g)
	}
	p, err := puzzle.Build(def)
	if err != nil {
		assert.NotEmpty(t, err.Error())
		return
	}
	require.LessOrEqual(t, len(p.Stickers), puzzle.MaxStickers)
	if len(p.Stickers) < 500 { // the checks take much longer than building
		assertSound(t, p)
		assertFrameHolds(t, p)
	}
}
