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

func enumerate(t testing.TB, name, cycle string, ignore ...string) (*puzzle.Puzzle, goal.Goal, *catalog.Catalog) {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	g, err := goal.New(p, cycle, nil, ignore)
	require.NoError(t, err)
	c, err := catalog.Enumerate(p, g)
	require.NoError(t, err)
	return p, g, c
}

// permOf is a cycle as a permutation of all stickers, made the plain way.
func permOf(p *puzzle.Puzzle, g goal.Goal, c goal.Cycle) puzzle.Perm {
	perm := p.Identity()
	slots := p.Types[g.Cycle].Slots
	for i, from := range c {
		for k, x := range slots[from] {
			perm[x] = slots[c[(i+1)%3]][k]
		}
	}
	return perm
}

// all lists every directed 3-cycle without twist, each once, by brute force.
func all(p *puzzle.Puzzle, g goal.Goal) map[string]puzzle.Perm {
	t := &p.Types[g.Cycle]
	out := map[string]puzzle.Perm{}
	for a := range t.Slots {
		for b := range t.Slots {
			for d := range t.Slots {
				if t.Place[a] != t.Place[b] && t.Place[b] != t.Place[d] && t.Place[d] != t.Place[a] {
					perm := permOf(p, g, goal.Cycle{a, b, d})
					out[fmt.Sprint(perm)] = perm
				}
			}
		}
	}
	return out
}

// The number of cycles by counting, and of classes by Burnside's lemma (W. Burnside,
// 1897) over permutations of stickers: half the symmetries' mean number of cycles
// that each leaves alone or turns round.
func TestClassesByBurnside(t *testing.T) {
	for _, c := range []struct {
		puzzle, cycle   string
		cycles, classes int
		source          string
	}{
		{"3x3x3", "corner", 1008, 15, "8·7·6/3·3²"},
		{"3x3x3", "edge", 1760, 27, "12·11·10/3·2²"},
		{"4x4x4", "wing", 4048, 49, "24·23·22/3"},
		{"6x6x6", "oblique-1", 4048, 87, "24·23·22/3; no reflection keeps the type"},
		{"skewb", "centre", 40, 2, "6·5·4/3"},
		{"tetrahedron", "edge", 160, 7, "6·5·4/3·2²"},
		{"vertex-octahedron", "corner", 640, 12, "6·5·4/3·4²"},
	} {
		t.Run(c.puzzle+c.cycle, func(t *testing.T) {
			if testing.Short() && c.cycles > 1000 {
				t.Skip("takes seconds")
			}
			p, g, got := enumerate(t, c.puzzle, c.cycle)
			cycles := all(p, g)
			assert.Len(t, cycles, c.cycles, c.source)
			symmetries := g.Symmetries(p)
			fixed := 0
			for _, i := range symmetries {
				s := p.Symmetries[i].Stickers
				for key, perm := range cycles {
					image := fmt.Sprint(s.Inverse().Then(perm).Then(s))
					if image == key {
						fixed++
					}
					if image == fmt.Sprint(perm.Inverse()) {
						fixed++
					}
				}
			}
			assert.Zero(t, fixed%(2*len(symmetries)))
			assert.Equal(t, fixed/(2*len(symmetries)), len(got.Classes))
			assert.Len(t, got.Classes, c.classes)
			assert.Equal(t, c.cycles, got.Cycles)
		})
	}
}

// The demo puzzle: 60·59·58/3 cycles of triangles in 303 classes.
func TestClassesOfTheDemoPuzzle(t *testing.T) {
	_, _, c := enumerate(t, "vertex-cut-dodecahedron", "triangle")
	assert.Equal(t, 68440, c.Cycles)
	assert.Len(t, c.Classes, 303)
	sum := 0
	for i, class := range c.Classes {
		assert.Equal(t, i+1, class.Index)
		assert.Equal(t, class, c.Class(class.Index))
		assert.Equal(t, class.Index, c.ClassOf(class.Cycle))
		sum += class.Size
	}
	assert.Equal(t, c.Cycles, sum)
}

// The same number of classes by Burnside's lemma: a triangle has one sticker, so
// that a cycle is three stickers in a row, the least of them first.
func TestClassesOfTheDemoPuzzleByBurnside(t *testing.T) {
	p, g, got := enumerate(t, "vertex-cut-dodecahedron", "triangle")
	row := func(a, b, c uint16) [3]uint16 {
		for a > b || a > c {
			a, b, c = b, c, a
		}
		return [3]uint16{a, b, c}
	}
	cycles, fixed := 0, 0
	slots := p.Types[g.Cycle].Slots
	for i := range slots {
		for j := range slots {
			for k := range slots {
				a, b, c := slots[i][0], slots[j][0], slots[k][0]
				if a >= b || a >= c || b == c {
					continue
				}
				cycles++
				for _, sym := range p.Symmetries {
					s := sym.Stickers
					image := row(s[a], s[b], s[c])
					if image == row(a, b, c) {
						fixed++
					}
					if image == row(a, c, b) {
						fixed++
					}
				}
			}
		}
	}
	assert.Equal(t, 60*59*58/3, cycles)
	require.Zero(t, fixed%(2*len(p.Symmetries)))
	assert.Equal(t, 303, fixed/(2*len(p.Symmetries)))
	assert.Len(t, got.Classes, 303)
}

// A cycle, told from any of its pieces and any of their stickers, has one
// normal form; images and inverses are those of the permutations, and stay in
// the class.
func TestFormsOfACycle(t *testing.T) {
	for _, name := range [][2]string{{"3x3x3", "corner"}, {"3x3x3", "edge"}, {"4x4x4", "wing"}, {"vertex-cut-dodecahedron", "edge"}} {
		p, g, c := enumerate(t, name[0], name[1])
		typ := &p.Types[g.Cycle]
		symmetries := g.Symmetries(p)
		rapid.Check(t, func(t *rapid.T) {
			slot := rapid.IntRange(0, len(typ.Slots)-1)
			cycle := goal.Cycle{slot.Draw(t, "a"), slot.Draw(t, "b"), slot.Draw(t, "c")}
			if typ.Place[cycle[0]] == typ.Place[cycle[1]] || typ.Place[cycle[1]] == typ.Place[cycle[2]] || typ.Place[cycle[2]] == typ.Place[cycle[0]] {
				t.Skip("not three places")
			}
			perm := permOf(p, g, cycle)
			normal := c.Normal(cycle)
			assert.Equal(t, perm, permOf(p, g, normal))
			assert.Equal(t, normal, c.Normal(goal.Cycle{cycle[1], cycle[2], cycle[0]}))
			assert.Equal(t, c.Key(cycle), c.Key(normal))
			assert.Equal(t, perm.Inverse(), permOf(p, g, c.Inverse(cycle)))
			i := rapid.IntRange(0, len(symmetries)-1).Draw(t, "symmetry")
			s := p.Symmetries[symmetries[i]].Stickers
			image := c.Image(i, cycle)
			assert.Equal(t, s.Inverse().Then(perm).Then(s), permOf(p, g, image))
			for _, other := range []goal.Cycle{normal, c.Inverse(cycle), image} {
				assert.Equal(t, c.ClassOf(cycle), c.ClassOf(other))
			}
			from, to := slot.Draw(t, "from"), slot.Draw(t, "to")
			does := perm[typ.Slots[from][0]] == typ.Slots[to][0]
			assert.Equal(t, does, c.Meets(cycle, []goal.Pin{{From: from, To: to}}))
		})
	}
}

func TestMatchingIsAFilter(t *testing.T) {
	p, g, c := enumerate(t, "3x3x3", "corner")
	require.NoError(t, g.Pin(p, "URF", "BDR"))
	matching := c.Matching(g.Pins)
	assert.Len(t, matching, 6*3, "six other places for the third piece, three ways to turn it")
	assert.IsIncreasing(t, matching)
	require.NoError(t, g.Pin(p, "BDR", "UFL"))
	assert.Len(t, c.Matching(g.Pins), 1)
}
