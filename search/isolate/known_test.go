package isolate_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/isolate"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

const demo = "vertex-cut-dodecahedron"

// Which short commutators cycle three pieces of the demo puzzle, and their lengths as
// they are written. Source: common practice. The numbers of classes are
// this program's own.
func TestCommutatorsThatArePractised(t *testing.T) {
	for _, c := range []struct {
		name, cycle string
		ignore      []string
		n, length   int
		classes     int
	}{
		{"a 1-1 commutator cycles edges", "edge", []string{"centre", "triangle"}, 1, 4, 6},
		{"a 3-1 commutator cycles centres, edges kept", "centre", []string{"triangle"}, 3, 8, 5},
		{"a 4-1 commutator cycles centres, edges kept", "centre", []string{"triangle"}, 4, 10, 5},
		{"a 3-1 commutator cycles triangles, all else kept", "triangle", nil, 3, 8, 24},
		{"a 4-1 commutator cycles triangles, all else kept", "triangle", nil, 4, 10, 41},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.n == 4 && testing.Short() {
				t.Skip("takes seconds under the race detector")
			}
			b, p, _ := bench(t, demo, c.cycle, c.ignore, puzzle.STM, isolate.Options{})
			table, err := b.Table(t.Context(), c.n, 1)
			require.NoError(t, err)
			best := table.Cells[c.n][1].Best
			assert.Len(t, best, c.classes)
			for _, f := range best {
				assert.Equal(t, c.length, notation.Length(p, puzzle.STM, expand(t, p, f.Structure)))
				assert.LessOrEqual(t, f.Length, c.length)
				require.NoError(t, b.Verify(f))
			}
			for n := 1; n < c.n; n++ {
				if n < 3 {
					assert.Empty(t, table.Cells[n][1].Best, "%d-1", n)
				}
			}
		})
	}
}

func expand(t testing.TB, p *puzzle.Puzzle, text string) []puzzle.Turn {
	t.Helper()
	turns, err := notation.ParseTurns(p, text)
	require.NoError(t, err)
	return turns
}

// A 10-1 commutator of 22 turns is a pure 3-cycle of triangles; its first part is a
// 4-1 commutator that cycles three centres, with all edges kept. Source: common practice.
func TestTenOne(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds under the race detector")
	}
	centres, p, _ := bench(t, demo, "centre", []string{"triangle"}, puzzle.STM, isolate.Options{})
	triangles, _, _ := bench(t, demo, "triangle", nil, puzzle.STM, isolate.Options{})
	first, err := centres.Ranked(t.Context(), 4, 1, 1000)
	require.NoError(t, err)
	found := 0
	for _, c := range first {
		if notation.Length(p, puzzle.STM, c.X) != 4 {
			continue
		}
		x := expand(t, p, c.Structure)
		require.Equal(t, 10, notation.Length(p, puzzle.STM, x))
		meetings, err := triangles.With(x, 1)
		require.NoError(t, err)
		for m := range meetings {
			if f := m.Candidate; f != nil {
				found++
				require.NoError(t, triangles.Verify(*f))
				require.Equal(t, 22, notation.Length(p, puzzle.STM, expand(t, p, f.Structure)))
			}
		}
	}
	assert.Positive(t, found)
}

// A turn may look as if it isolated a triangle, as it has hardly any pieces in common with the
// part before, and yet a 5-cycle or a 7-cycle comes out. Source: common practice, for the kind; the
// sequences are this program's own.
func TestWhatLooksPromising(t *testing.T) {
	for _, c := range []struct {
		shape  string
		ignore []string
		n      int
	}{
		{"5", nil, 4},
		{"7", []string{"edge"}, 4},
	} {
		t.Run(c.shape, func(t *testing.T) {
			if testing.Short() {
				t.Skip("takes seconds under the race detector")
			}
			b := shapeBench(t, demo, "triangle", c.shape, c.ignore, puzzle.STM)
			three, p, _ := bench(t, demo, "triangle", c.ignore, puzzle.STM, isolate.Options{})
			list, err := b.Ranked(t.Context(), c.n, 1, 100)
			require.NoError(t, err)
			require.NotEmpty(t, list)
			for _, f := range list {
				meetings, err := three.With(f.X, 1)
				require.NoError(t, err)
				for m := range meetings {
					if m.Text != notation.Print(p, f.Y) {
						continue
					}
					assert.Nil(t, m.Candidate, f.Structure)
					assert.False(t, m.Isolates)
					assert.Equal(t, c.shape, string(rune('0'+three.Cycles(m)[0])))
					if f.Length == list[0].Length {
						t.Logf("%s: %d triangles in common", f.Structure, m.Shared[0].Len()+m.Shared[1].Len()+m.Shared[2].Len())
					}
				}
			}
		})
	}
}

// An 8-turn cycle of corners by a 3-1 commutator. Source: common practice; the words
// in 6-checks are such.
func TestCornersOfTheCube(t *testing.T) {
	b, p, _ := bench(t, "3x3x3", "corner", nil, puzzle.OBTM, isolate.Options{})
	meetings, err := b.With(expand(t, p, "R' D' R"), 1)
	require.NoError(t, err)
	edge, _ := p.TypeByName("edge")
	var isolating []string
	for m := range meetings {
		require.Equal(t, m.Isolates && m.Shared[edge].Len() == 0, m.Candidate != nil, m.Text)
		if m.Candidate != nil {
			isolating = append(isolating, m.Text)
			assert.Equal(t, 8, m.Candidate.Length)
			assert.Equal(t, []int{3}, b.Cycles(m))
		}
	}
	slices.Sort(isolating)
	assert.Equal(t, []string{"U", "U'", "U2"}, isolating)
}
