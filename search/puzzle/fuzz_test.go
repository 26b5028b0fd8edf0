package puzzle_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// Whatever a definition says, it is refused with an error or makes a puzzle that
// is sound: no panic, no endless work. What is accepted comes back from its text.
func FuzzDefinition(f *testing.F) {
	for _, d := range puzzle.Builtin() {
		f.Add([]byte(d.YAML()))
	}
	for _, text := range []string{
		cube("{at: faces, only: [U, D], cuts: [1/3]}", "{at: faces, only: [F, R, B, L], steps: 2, cuts: [through centre]}"),
		cube("{at: faces, cuts: [0.8, 0.62]}", "{at: vertices, cuts: [0.87]}", "{at: edges, cuts: [0.21, 0]}"),
		"name: own\nsolid: icosahedron\naxes: [{at: faces, cuts: [0.21, 0.73]}]",
		"name: own\nsolid: tetrahedron\naxes: [{at: faces, cuts: [1/2]}, {at: vertices, cuts: [1.5]}]\ntype-names: {wing: fin}",
		"axes:\n- &g {at: faces, cuts: [x]}\n- *g\n",
		"{\"name\": \"own\", \"solid\": \"octahedron\", \"axes\": [{\"at\": \"edges\", \"cuts\": [0.8]}]}",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		def, err := puzzle.ParseDefinition(data)
		if err != nil {
			require.Less(t, len(err.Error()), 1000, "an error that a person can read")
			return
		}
		again, err := puzzle.ParseDefinition([]byte(def.YAML()))
		require.NoError(t, err)
		require.Equal(t, def.YAML(), again.YAML())
		p, err := puzzle.Build(def)
		if err != nil {
			require.Less(t, len(err.Error()), 1000)
			return
		}
		require.LessOrEqual(t, len(p.Stickers), puzzle.MaxStickers)
		assertSound(t, p)
		assertFrameHolds(t, p)
	})
}

// The time to build the largest of puzzles, close to MaxStickers.
func BenchmarkBuild(b *testing.B) {
	for name, text := range map[string]string{
		"icosahedron of 1460 stickers":  "name: own\nsolid: icosahedron\naxes: [{at: faces, cuts: [0.21, 0.73]}]",
		"dodecahedron of 1272 stickers": "name: own\nsolid: dodecahedron\naxes: [{at: edges, cuts: [1.03, 1.09, 0.98]}]",
		"cube of 1392 stickers":         cube("{at: faces, cuts: [0.80, 0.62, 0.84, 0]}", "{at: vertices, cuts: [0.87]}", "{at: edges, cuts: [0.21, 0]}"),
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := build(text); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
