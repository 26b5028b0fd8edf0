package puzzle_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// letters reads face turns of WCA Regulation 12a1.
func letters(t *testing.T, p *puzzle.Puzzle, text string) []puzzle.Turn {
	var out []puzzle.Turn
	for _, word := range strings.Fields(text) {
		amount, ok := map[string]int{"": 1, "2": 2, "'": -1}[word[1:]]
		require.True(t, ok, word)
		out = append(out, on(p, word[:1], 1, 1, amount))
	}
	return out
}

// slotNamed finds a slot by its label.
func slotNamed(t *testing.T, p *puzzle.Puzzle, typeName, label string) []uint16 {
	i, ok := p.TypeByName(typeName)
	require.True(t, ok)
	for s, l := range p.Types[i].Labels {
		if l == label {
			return p.Types[i].Slots[s]
		}
	}
	require.Fail(t, "no slot", "%s %s", typeName, label)
	return nil
}

// Clockwise, as seen from outside the face that is turned. The first face of a
// label is that of the first sticker, so it tells which way round a piece goes.
func TestClockwise(t *testing.T) {
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	for _, c := range []struct{ turn, from, to string }{
		{"U", "UF", "UL"}, {"U", "UR", "UF"}, {"U", "FU", "LU"},
		{"R", "FR", "UR"}, {"R", "UR", "BR"}, {"R", "RF", "RU"},
		{"F", "UF", "RF"}, {"F", "FU", "FR"}, {"F", "FR", "FD"},
		{"D", "DF", "DR"}, {"L", "UL", "FL"}, {"B", "UB", "LB"},
		{"U'", "UF", "UR"}, {"U2", "UF", "UB"},
		{"R", "URF", "BRU"}, {"R", "RFU", "RUB"}, {"U", "URF", "UFL"},
	} {
		t.Run(c.turn+" "+c.from, func(t *testing.T) {
			kind := map[int]string{2: "edge", 3: "corner"}[len(c.from)]
			perm := p.Apply(letters(t, p, c.turn))
			from, to := slotNamed(t, p, kind, c.from), slotNamed(t, p, kind, c.to)
			for i := range from {
				assert.Equal(t, to[i], perm[from[i]])
			}
		})
	}
}

// Axes go round in the order of their numbers, anticlockwise as seen from above;
// so turning about the top carries b2 to b1.
func TestClockwiseOnOtherSolids(t *testing.T) {
	for _, c := range []struct{ puzzle, axis, from, to string }{
		{"shallow-cut-dodecahedron", "a", "b2", "b1"},
		{"shallow-cut-dodecahedron", "a", "b1", "b5"},
		{"shallow-cut-dodecahedron", "d", "c1", "c2"},
		{"shallow-cut-dodecahedron", "b1", "a", "b2"},
		{"face-cut-icosahedron", "a", "b2", "b1"},
		{"tetrahedron", "a", "b3", "b2"},
		{"vertex-octahedron", "a", "b1", "b4"},
	} {
		p, err := puzzle.Find(c.puzzle)
		require.NoError(t, err)
		index := func(name string) int {
			i, ok := p.AxisByName(name)
			require.True(t, ok, name)
			return i
		}
		a := p.Axes[index(c.axis)]
		step := 1
		if a.Far {
			step = -1
		}
		carried := p.Symmetries[p.Spin(a.Line, step)].Axes[index(c.from)]
		assert.Equal(t, c.to, p.Axes[carried].Name, "%s: turning %s", c.puzzle, c.axis)
	}
}

// The superflip of M. Reid (1995): every corner and centre at home, every edge at
// home and flipped. Any turn read the wrong way round would spoil it.
func TestSuperflip(t *testing.T) {
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	for _, c := range []struct {
		metric puzzle.Metric
		length int
		text   string
	}{
		{puzzle.OBTM, 20, "U R2 F B R B2 R U2 L B2 R U' D' R2 F R' L B2 U2 F2"},
		{puzzle.QTM, 24, "R' U2 B L' F U' B D F U D' L D2 F' R B' D F' U' B' U D'"},
	} {
		t.Run(c.metric.String(), func(t *testing.T) {
			turns := letters(t, p, c.text)
			assert.Equal(t, c.length, cost(p, c.metric, turns))
			perm := p.Apply(turns)
			for _, piece := range p.Pieces {
				want := piece.Stickers
				if len(want) == 2 {
					want = []int{want[1], want[0]}
				}
				for i, x := range piece.Stickers {
					assert.Equal(t, want[i], int(perm[x]))
				}
			}
		})
	}
}

// Orders of elements, computed with GAP.
func TestElementOrders(t *testing.T) {
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	for text, want := range map[string]int{
		"R U": 105, "R U'": 63, "R U R' U'": 6, "R U2": 30, "R2 U2": 6, "R U R' U": 5,
		"F R U R' U' F'": 6, "R U F": 80, "U R U' F2": 10, "R2 L2 U2 D2 F2 B2": 2,
		"U R' U F' D2": 1260, "R U2 D' B D'": 1260,
	} {
		assert.Equal(t, want, orderOf(p.Apply(letters(t, p, text))), text)
	}
}

func TestInvert(t *testing.T) {
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	turns := letters(t, p, "R U2 F' L D B2")
	assert.True(t, p.Apply(append(turns, puzzle.Invert(turns)...)).IsIdentity())
	assertSamePerm(t, p.Apply(turns).Inverse(), p.Apply(puzzle.Invert(turns)))
	assert.Equal(t, letters(t, p, "R U2 F' L D B2"), turns, "the argument stays as it is")
}
