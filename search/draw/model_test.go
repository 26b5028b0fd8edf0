package draw

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
	"turnwright/search/solid"
)

// What is drawn has to be what the engine means: rotating the stickers of a layer in
// space by a step, clockwise as seen from outside, puts each where its turn says.
func TestAModelTurnsInSpaceAsThePuzzleDoes(t *testing.T) {
	for _, def := range puzzle.Builtin() {
		name := def.Name
		p := find(t, name)
		m, err := NewModel(p)
		require.NoError(t, err, name)
		require.Len(t, m.Axes, len(p.Axes))
		for i, a := range m.Axes {
			quarter := solid.Rotation(a.Direction, -2*math.Pi/float64(a.Steps))
			in := make([]int, len(p.Stickers)) // the layers that each sticker is in
			for k, l := range a.Layers {
				require.Len(t, l.To, len(l.Stickers))
				require.Len(t, l.Turns, a.Steps-1)
				whole := p.TurnPerm(puzzle.Turn{Axis: i, From: k + 1, To: k + 1, Amount: 1})
				for j, x := range l.Stickers {
					in[x]++
					assert.Equal(t, int(whole[x]), l.To[j])
					image := quarter.Apply(solid.Vec(m.Stickers[x].Middle))
					if !image.Near(solid.Vec(m.Stickers[l.To[j]].Middle)) {
						t.Fatalf("%s: %s carries sticker %d elsewhere than its turn says", name, l.Turns[0], x)
					}
				}
			}
			for x, n := range in {
				require.Equal(t, 1, n, "%s: sticker %d about %s", name, x, a.Name)
			}
		}
	}
}

// Slots are what turns carry into one another, and each has the name that pins know it by.
func TestAModelsSlotsAreThoseOfThePuzzle(t *testing.T) {
	for _, def := range puzzle.Builtin() {
		p := find(t, def.Name)
		m, err := NewModel(p)
		require.NoError(t, err, def.Name)
		where := map[string]int{} // stickers in order → type
		for _, slot := range m.Slots {
			where[fmt.Sprint(slot.Stickers)] = slot.Type
			known, ok := p.SlotByLabel(&p.Types[slot.Type], slot.Label)
			require.True(t, ok, "%s: %s", def.Name, slot.Label)
			assert.Equal(t, fmt.Sprint(p.Types[slot.Type].Slots[known]), fmt.Sprint(slot.Stickers), "%s: %s", def.Name, slot.Label)
		}
		for i := range p.Axes {
			turned := p.TurnPerm(puzzle.Turn{Axis: i, From: 1, To: 1, Amount: 1})
			for _, slot := range m.Slots {
				var to []int
				for _, x := range slot.Stickers {
					to = append(to, int(turned[x]))
				}
				typ, ok := where[fmt.Sprint(to)]
				require.True(t, ok, "%s: %s carries %s to no slot", def.Name, p.Axes[i].Name, slot.Label)
				require.Equal(t, slot.Type, typ)
			}
		}
	}
}

func TestATraceHasTheArrowsOfThePicture(t *testing.T) {
	p := find(t, "vertex-cut-dodecahedron")
	cycle := turns(t, p, "[2.a, c2^-2 a c2^2]")
	trace, err := NewTrace(p, cycle, []string{"triangle"})
	require.NoError(t, err)
	require.Len(t, trace.Turns, 8)
	assert.Equal(t, "c2^-2", trace.Turns[1].Text)
	assert.Len(t, trace.Moved, 3)
	assert.NotEqual(t, [2]float64{usualRight, usualUp}, [2]float64{trace.Right, trace.Up}, "the usual side shows none of them")
	assert.Empty(t, trace.Rotation)
	require.Len(t, trace.Arrows, 3)
	perm := p.Apply(cycle)
	for i, a := range trace.Arrows {
		assert.EqualValues(t, perm[a.From], a.To)
		assert.Equal(t, trace.Arrows[(i+1)%3].From, a.To, "one leads to where the next begins")
	}

	_, err = NewTrace(p, cycle, []string{"petal"})
	require.ErrorContains(t, err, "it has")
	trace, err = NewTrace(find(t, "3x3x3"), turns(t, find(t, "3x3x3"), "Rw"), nil)
	require.NoError(t, err)
	assert.Equal(t, "x", trace.Rotation)
	assert.Equal(t, [2]float64{usualRight, usualUp}, [2]float64{trace.Right, trace.Up}, "without arrows")
	assert.Len(t, trace.Moved, 8, "the left layer, but for its centre")
}
