package pattern_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/breadth"
	"turnwright/search/pattern"
	"turnwright/search/puzzle"
)

// A table agrees with the plain breadth-first search: for some pieces of any
// puzzle, each has as many positions at each distance.
func TestAgainstBreadth(t *testing.T) {
	names := []string{"cube-3", "cube-4", "centre-cut-vertex-cube", "tipped-tetrahedron", "edge-cube",
		"shallow-cut-dodecahedron", "vertex-cut-dodecahedron", "vertex-octahedron"}
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(names).Draw(t, "puzzle")
		m := rapid.SampledFrom(puzzle.Metrics()).Draw(t, "metric")
		a := alphabet(t, name, m)
		p := a.Puzzle
		solved := pattern.Solved(p)
		pieces := rapid.SliceOfNDistinct(rapid.IntRange(0, len(solved)-1), 1, 3, rapid.ID).Draw(t, "pieces")
		var wants []pattern.Want
		s := breadth.Search{Moves: breadth.Moves(p, m), Max: -1, Limit: 6_000}
		for _, piece := range pieces {
			wants = append(wants, solved[piece])
			for _, x := range p.Pieces[piece].Stickers {
				s.Track = append(s.Track, uint16(x))
			}
		}
		levels, err := s.Levels()
		if err != nil {
			t.Skip("too many positions for the plain search")
		}
		spec, err := pattern.NewSpec(a, wants)
		if err != nil {
			require.ErrorContains(t, err, "more than 64 places")
			t.Skip()
		}
		table, err := pattern.Build(context.Background(), spec, 2, nil)
		require.NoError(t, err)
		require.Equal(t, levels, table.Histogram())
	})
}

// Pieces that look alike count once, and their distance is that to the nearest
// arrangement that looks right.
func TestAlikeAgainstBreadth(t *testing.T) {
	a := alphabet(t, "cube-4", puzzle.OBTM)
	p := a.Puzzle
	typ, ok := p.TypeByName("centre")
	require.True(t, ok)
	centres := pattern.OfTypes(p, pattern.SolvedByColour(p), typ)
	// Two of one colour and two of another.
	var wants []pattern.Want
	byColour := map[int]int{}
	for _, w := range centres {
		if first := w.Slots[0]; byColour[first] < 2 && (byColour[first] > 0 || len(byColour) < 2) {
			byColour[first]++
			wants = append(wants, w)
		}
	}
	require.Len(t, wants, 4)
	spec, err := pattern.NewSpec(a, wants)
	require.NoError(t, err)
	require.EqualValues(t, 24*23/2*22*21/2, spec.Entries())
	table, err := pattern.Build(context.Background(), spec, 2, nil)
	require.NoError(t, err)
	assert.Equal(t, plainLooks(p, wants), table.Histogram())
}

// look is where two stickers of one colour and two of another are; each pair in order.
type look [4]uint16

func ordered(x, y uint16) (uint16, uint16) { return min(x, y), max(x, y) }

// plainLooks counts looks by their distance from those that are wanted. Every
// turn is undone by one of the same cost, so distances from there are those to there.
func plainLooks(p *puzzle.Puzzle, wants []pattern.Want) []uint64 {
	sticker := func(w pattern.Want, i int) uint16 {
		return p.Types[p.Pieces[w.Piece].Type].Slots[w.Slots[i]][0]
	}
	distance := map[look]int{}
	waiting := [][]look{nil}
	for i := range wants[0].Slots {
		for j := range i {
			for k := range wants[2].Slots {
				for l := range k {
					var x look
					x[0], x[1] = ordered(sticker(wants[0], i), sticker(wants[0], j))
					x[2], x[3] = ordered(sticker(wants[2], k), sticker(wants[2], l))
					distance[x] = 0
					waiting[0] = append(waiting[0], x)
				}
			}
		}
	}
	moves := breadth.Moves(p, puzzle.OBTM)
	levels := []uint64{}
	for d := 0; d < len(waiting); d++ {
		levels = append(levels, 0)
		for _, x := range waiting[d] {
			if distance[x] != d {
				continue
			}
			levels[d]++
			for _, m := range moves {
				var y look
				y[0], y[1] = ordered(m.Perm[x[0]], m.Perm[x[1]])
				y[2], y[3] = ordered(m.Perm[x[2]], m.Perm[x[3]])
				if known, ok := distance[y]; ok && known <= d+m.Cost {
					continue
				}
				distance[y] = d + m.Cost
				for len(waiting) <= d+m.Cost {
					waiting = append(waiting, nil)
				}
				waiting[d+m.Cost] = append(waiting[d+m.Cost], y)
			}
		}
	}
	for len(levels) > 0 && levels[len(levels)-1] == 0 {
		levels = levels[:len(levels)-1]
	}
	return levels
}
