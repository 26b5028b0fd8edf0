package word_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/breadth"
	"turnwright/search/puzzle"
	"turnwright/search/word"
)

func symmetriesOf(p *puzzle.Puzzle) []int {
	out := make([]int, len(p.Symmetries))
	for i := range out {
		out[i] = i
	}
	return out
}

// The image of a letter does to the images of the stickers what the letter does
// to the stickers.
func TestImagesAreConjugates(t *testing.T) {
	for _, a := range alphabets(t) {
		if len(a.Puzzle.Stickers) > 200 {
			continue // thousands of letters with 48 images each
		}
		images := a.Images(symmetriesOf(a.Puzzle))
		require.NotEmpty(t, images)
		assert.Equal(t, 0, images[0].Symmetry, "the identity")
		for l, to := range images[0].Letters {
			require.Equal(t, l, to)
		}
		if a.Puzzle.Lines[0].Reference*2 == a.Puzzle.Lines[0].Layers-1 {
			assert.Len(t, images, len(a.Puzzle.Symmetries), "%s: every symmetry keeps the middle layers", a.name)
		}
		rapid.Check(t, func(t *rapid.T) {
			img := rapid.SampledFrom(images).Draw(t, "image")
			l := rapid.IntRange(0, len(a.Letters)-1).Draw(t, "letter")
			to := img.Letters[l]
			s := a.Puzzle.Symmetries[img.Symmetry].Stickers
			assert.Equal(t, s.Inverse().Then(permOf(a.Alphabet, []int{l})).Then(s), permOf(a.Alphabet, []int{to}), a.name)
			assert.Equal(t, a.Letters[l].Cost, a.Letters[to].Cost)
			assert.Equal(t, a.Letters[to].Inverse, img.Letters[a.Letters[l].Inverse])
		})
	}
}

// Every symmetry left out carries some letter to what is none.
func TestOnlySymmetriesThatKeepTheFrame(t *testing.T) {
	p := find(t, "2x2x2")
	a := alphabet(t, "2x2x2", puzzle.OBTM)
	kept := map[int]bool{}
	for _, img := range a.Images(symmetriesOf(p)) {
		kept[img.Symmetry] = true
	}
	assert.Len(t, kept, 6, "those that keep one corner in its place")
	perms := map[string]bool{}
	for l := range a.Letters {
		perms[key(permOf(a, []int{l}))] = true
	}
	for i, sym := range p.Symmetries {
		all := true
		for l := range a.Letters {
			s := sym.Stickers
			all = all && perms[key(s.Inverse().Then(permOf(a, []int{l})).Then(s))]
		}
		assert.Equal(t, all, kept[i], "symmetry %d", i)
	}
}

var prefixCases = []struct {
	puzzle string
	metric puzzle.Metric
	most   int
}{
	{"3x3x3", puzzle.OBTM, 4},
	{"3x3x3", puzzle.QTM, 4},
	{"3x3x3", puzzle.STM, 3},
	{"4x4x4", puzzle.STM, 2},
	{"4x4x4", puzzle.OBTM, 2},
	{"2x2x2", puzzle.OBTM, 4},
	{"skewb", puzzle.OBTM, 5},
	{"tetrahedron", puzzle.OBTM, 5},
	{"vertex-cut-dodecahedron", puzzle.STM, 2},
	{"shallow-cut-dodecahedron", puzzle.OBTM, 3},
	{"edge-cube", puzzle.OBTM, 5},
	{"vertex-cube", puzzle.OBTM, 4},
	{"face-cut-icosahedron", puzzle.QTM, 3},
}

// What begins with a prefix, and its images, is every position at the distance.
func TestPrefixesAndTheirImagesReachEverything(t *testing.T) {
	for _, c := range prefixCases {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			if testing.Short() {
				c.most--
			}
			a := alphabet(t, c.puzzle, c.metric)
			images := a.Images(symmetriesOf(a.Puzzle))
			reached := map[string]bool{}
			take := func(perm puzzle.Perm) {
				if reached[key(perm)] {
					return // and so its images
				}
				for _, img := range images {
					s := a.Puzzle.Symmetries[img.Symmetry].Stickers
					reached[key(s.Inverse().Then(perm).Then(s))] = true
				}
			}
			for cost := 1; cost <= c.most; cost++ {
				var walk func(letters []int, s word.State, left int)
				walk = func(letters []int, s word.State, left int) {
					if left == 0 {
						take(permOf(a, letters))
						return
					}
					for i, l := range a.Letters {
						if next := a.Next(s, i); next >= 0 && l.Cost <= left {
							walk(append(letters[:len(letters):len(letters)], i), next, left-l.Cost)
						}
					}
				}
				for p := range a.Prefixes(images, cost/2, cost, nil) {
					walk(p.Letters, p.State, cost-p.Cost)
				}
			}
			s := breadth.Search{Moves: breadth.Moves(a.Puzzle, a.Metric), Track: a.Puzzle.Identity(), Max: c.most, Limit: 1e6}
			require.NoError(t, s.Visit(func(position []uint16, distance int) {
				if distance > 0 && !reached[key(position)] {
					require.Fail(t, "a position is lost", "at distance %d", distance)
				}
			}))
		})
	}
}

// Where no families commute, images of canonical words are canonical words: the
// orbits of the prefixes are all beginnings, each once, and what follows them is
// counted right.
func TestOrbitsOfPrefixes(t *testing.T) {
	for _, c := range prefixCases {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			a, err := word.ByLine(find(t, c.puzzle), c.metric)
			require.NoError(t, err)
			if a.Commuting {
				t.Skip("families commute")
			}
			images := a.Images(symmetriesOf(a.Puzzle))
			for cost := 0; cost <= c.most; cost++ {
				want := map[string]bool{}
				for p := range a.Prefixes(images[:1], cost, c.most, nil) {
					want[key16(p.Letters)] = true
				}
				got := map[string]bool{}
				words := uint64(0)
				for p := range a.Prefixes(images, cost, c.most, nil) {
					assert.Equal(t, a.Cost(p.Letters), p.Cost)
					assert.True(t, p.Cost >= cost && len(p.Letters) > 1 || p.Cost == c.most)
					orbit := map[string]bool{}
					for _, img := range images {
						image := make([]int, len(p.Letters))
						for i, l := range p.Letters {
							image[i] = img.Letters[l]
						}
						orbit[key16(image)] = true
						assert.False(t, got[key16(image)], "%v is an image of two prefixes", image)
					}
					for image := range orbit {
						got[image] = true
					}
					words += uint64(len(orbit)) * a.Count(p.State, c.most-p.Cost)
				}
				assert.Equal(t, want, got)
				assert.Equal(t, a.Count(a.Start(), c.most), words)
			}
		})
	}
}

// allow cuts off what it refuses, and is asked with the letters' cost.
func TestPrefixesThatAreNotAllowed(t *testing.T) {
	a := alphabet(t, "3x3x3", puzzle.QTM)
	images := a.Images(symmetriesOf(a.Puzzle))
	short := func(letters []int, cost int) bool {
		assert.Equal(t, a.Cost(letters), cost)
		return a.Letters[letters[len(letters)-1]].Cost == 1
	}
	var want, got []word.Prefix
	keep := func(list *[]word.Prefix, p word.Prefix) {
		p.Letters = slices.Clone(p.Letters)
		*list = append(*list, p)
	}
	for p := range a.Prefixes(images, 3, 4, nil) {
		if !slices.ContainsFunc(p.Letters, func(l int) bool { return a.Letters[l].Cost > 1 }) {
			keep(&want, p)
		}
	}
	require.NotEmpty(t, want)
	for p := range a.Prefixes(images, 3, 4, short) {
		keep(&got, p)
	}
	assert.Equal(t, want, got)
}
