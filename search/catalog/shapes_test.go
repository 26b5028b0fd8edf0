package catalog_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/catalog"
	"turnwright/search/goal"
	"turnwright/search/puzzle"
)

// Classes of 3-cycles are the same, whether listed beforehand or as they come.
func TestShapesAgainstTheCatalog(t *testing.T) {
	for _, name := range [][2]string{{"3x3x3", "corner"}, {"3x3x3", "edge"}, {"4x4x4", "wing"}, {"vertex-octahedron", "corner"}} {
		p, g, c := enumerate(t, name[0], name[1])
		shapes, err := catalog.NewShapes(p, g)
		require.NoError(t, err)
		typ := &p.Types[g.Cycle]
		keys := map[int]uint64{}
		classes := map[uint64]int{}
		for _, key := range c.Matching(nil) {
			cycle := goal.Cycle{int(key >> 20), int(key >> 10 & 1023), int(key & 1023)}
			class := c.ClassOf(cycle)
			k, size := shapes.ClassOf(cycle.Change(typ))
			require.Equal(t, c.Class(class).Size, size)
			if old, ok := keys[class]; ok {
				require.Equal(t, old, k)
			}
			keys[class], classes[k] = k, class
		}
		assert.Len(t, keys, len(c.Classes))
		assert.Len(t, classes, len(c.Classes), "no two classes have the same key")
	}
}

// The class of any change, by conjugating its permutation of stickers.
func TestClassesOfShapes(t *testing.T) {
	for _, c := range []struct {
		puzzle, typ, shape string
	}{
		{"3x3x3", "corner", "1~+1~"}, {"3x3x3", "corner", "3~+1~"}, {"3x3x3", "edge", "2+2"}, {"3x3x3", "edge", "2~+2~"},
		{"4x4x4", "centre", "5"}, {"6x6x6", "oblique-1", "2+2"}, {"vertex-octahedron", "corner", "<=4"}, {"tetrahedron", "edge", "1~+1~"},
	} {
		p, err := puzzle.Find(c.puzzle)
		require.NoError(t, err)
		shape, err := goal.ParseShape(c.shape)
		require.NoError(t, err)
		g, err := goal.NewShape(p, c.typ, shape, nil, nil)
		require.NoError(t, err)
		shapes, err := catalog.NewShapes(p, g)
		require.NoError(t, err)
		typ := &p.Types[g.Cycle]
		orbits := map[uint64]string{} // the least member met for each key
		rapid.Check(t, func(t *rapid.T) {
			change := anyChange(t, typ, shape)
			key, size := shapes.ClassOf(change)
			perm := doing(p, typ, change)
			orbit := map[string]bool{}
			least := ""
			for _, i := range g.Symmetries(p) {
				s := p.Symmetries[i].Stickers
				image := s.Inverse().Then(perm).Then(s)
				for _, member := range []puzzle.Perm{image, image.Inverse()} {
					name := fmt.Sprint(member)
					if orbit[name] = true; least == "" || name < least {
						least = name
					}
					does, ok := goal.Judge(p, g, member)
					require.True(t, ok, "symmetries keep the shape")
					k, _ := shapes.ClassOf(does)
					require.Equal(t, key, k)
				}
			}
			assert.Equal(t, len(orbit), size)
			if old, ok := orbits[key]; ok {
				assert.Equal(t, old, least, "two classes have the same key")
			}
			orbits[key] = least
		})
	}
}

// anyChange draws a change of the shape, in normal form.
func anyChange(t *rapid.T, typ *puzzle.Type, shape goal.Shape) goal.Change {
	slot := rapid.IntRange(0, len(typ.Slots)-1)
	for range 10_000 {
		pieces := rapid.SliceOfNDistinct(slot, shape.Moved(), shape.Moved(), func(s int) int { return typ.Place[s] }).Draw(t, "from")
		to := rapid.Permutation(pieces).Draw(t, "to")
		var change goal.Change
		for i, from := range pieces {
			turned := to[i] + rapid.IntRange(0, typ.Orientations-1).Draw(t, "turn")
			if turned >= len(typ.Slots) || typ.Place[turned] != typ.Place[to[i]] {
				turned -= typ.Orientations
			}
			if turned != from {
				change = append(change, goal.Step{From: from, To: turned})
			}
		}
		if change = change.Normal(typ); shape.Is(typ, change) {
			return change
		}
	}
	t.Skip("no such change came up")
	return nil
}

// doing is a change as a permutation of stickers.
func doing(p *puzzle.Puzzle, typ *puzzle.Type, c goal.Change) puzzle.Perm {
	perm := p.Identity()
	for _, step := range c {
		for k, x := range typ.Slots[step.From] {
			perm[x] = typ.Slots[step.To][k]
		}
	}
	return perm
}
