package word_test

import (
	"fmt"
	"math"
	"math/big"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
	"turnwright/search/word"
)

// The automaton by its definition: a word is canonical unless one of its letters
// could slide to the left, over letters that it commutes with, to one of its own
// family, to merge with it, or to the front of one of a later family.
func TestAutomatonAgainstItsDefinition(t *testing.T) {
	for _, c := range []struct {
		puzzle string
		metric puzzle.Metric
		most   int
		byLine bool
	}{
		{"3x3x3", puzzle.OBTM, 4, false},
		{"3x3x3", puzzle.QTM, 5, false},
		{"3x3x3", puzzle.STM, 3, true},
		{"edge-cube", puzzle.OBTM, 5, false},
		{"edge-cube", puzzle.OBTM, 5, true},
		{"vertex-cube", puzzle.OBTM, 4, false},
		{"shallow-cut-dodecahedron", puzzle.OBTM, 3, false},
		{"face-cut-dodecahedron", puzzle.QTM, 3, false},
		{"face-cut-icosahedron", puzzle.QTM, 4, false},
		{"vertex-cut-dodecahedron", puzzle.OBTM, 3, false},
		{"cube-4", puzzle.STM, 2, false},
		{"skewb", puzzle.OBTM, 6, false},
	} {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			if testing.Short() {
				c.most--
			}
			a := alphabet(t, c.puzzle, c.metric)
			if c.byLine {
				var err error
				a, err = word.ByLine(a.Puzzle, c.metric)
				require.NoError(t, err)
			}
			commute := commutingFamilies(a)
			accepted := func(letters []int) bool {
				for j, y := range letters {
					for i := j - 1; i >= 0; i-- {
						f, g := a.Letters[letters[i]].Family, a.Letters[y].Family
						if f == g || commute[f][g] && g < f {
							return false
						}
						if !commute[f][g] {
							break
						}
					}
				}
				return true
			}
			words := make([]uint64, c.most+1)
			var walk func(letters []int, s word.State, cost int)
			walk = func(letters []int, s word.State, cost int) {
				if ok := accepted(letters); ok != (s >= 0) {
					require.Equal(t, ok, s >= 0, "%v", letters)
				}
				if s < 0 {
					return // all that follows is rejected by either
				}
				words[cost]++
				for i, l := range a.Letters {
					if cost+l.Cost <= c.most {
						walk(append(letters, i), a.Next(s, i), cost+l.Cost)
					}
				}
			}
			walk(nil, a.Start(), 0)
			for n, want := range words {
				assert.Equal(t, want, a.Count(a.Start(), n), "words of cost %d", n)
			}
		})
	}
}

// commutingFamilies tells which families commute, by every pair of their letters.
func commutingFamilies(a *word.Alphabet) [][]bool {
	families := a.Letters[len(a.Letters)-1].Family + 1
	out := make([][]bool, families)
	for f := range out {
		out[f] = make([]bool, families)
		for g := range out[f] {
			out[f][g] = f != g
		}
	}
	for i, l := range a.Letters {
		for j, m := range a.Letters {
			x, y := permOf(a, []int{i}), permOf(a, []int{j})
			if fmt.Sprint(x.Then(y)) != fmt.Sprint(y.Then(x)) {
				out[l.Family][m.Family] = false
			}
		}
	}
	return out
}

// Two recurrences, one from the front and one from the back, agree as far as
// 64 bits go; beyond, the smaller one stays at the greatest number.
func TestCountAgainstTotal(t *testing.T) {
	greatest := new(big.Int).SetUint64(math.MaxUint64)
	for _, a := range alphabets(t) {
		for cost := 0; cost <= word.MaxCost; cost += 1 + cost/20 {
			total := a.Total(cost)
			if total.Cmp(greatest) > 0 {
				total = greatest
			}
			assert.Equal(t, total.Uint64(), a.Count(a.Start(), cost), "%s, cost %d", a.name, cost)
		}
	}
}

// Ranges hold the letters that may come, each once, and no others.
func TestRangesAreTheLettersThatMayCome(t *testing.T) {
	for _, a := range alphabets(t) {
		most := 0
		for _, l := range a.Letters {
			most = max(most, l.Cost)
		}
		for s := range word.State(a.States()) {
			for cost := 0; cost <= most+1; cost++ {
				var want, got []int
				for pos, l := range a.ByCost {
					if a.Letters[l].Cost == cost && a.Next(s, l) >= 0 {
						want = append(want, pos)
					}
				}
				for _, r := range a.Ranges(s, cost) {
					for pos := r.From; pos < r.To; pos++ {
						got = append(got, pos)
					}
				}
				if fmt.Sprint(want) != fmt.Sprint(got) {
					require.Equal(t, want, got, "%s, state %d, cost %d", a.name, s, cost)
				}
			}
		}
	}
}

// So many families commute on this puzzle that the automaton would not end. It
// then looks at the last letter only, and loses no position all the same.
func TestTooManyStates(t *testing.T) {
	def, err := puzzle.ParseDefinition([]byte("{name: hedgehog, solid: dodecahedron, axes: [{at: vertices, cuts: ['1.2']}]}"))
	require.NoError(t, err)
	p, err := puzzle.Build(def)
	require.NoError(t, err)
	a, err := word.New(p, puzzle.OBTM)
	require.NoError(t, err)
	assert.True(t, a.Commuting)
	assert.Equal(t, len(p.Axes)+1, a.States(), "the start, and one for the last letter's family")
	checkComplete(t, a)
}
