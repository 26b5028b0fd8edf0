package word_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/puzzle"
	"turnwright/search/word"
)

// Every number below the count is a word of the cost, and that word's number.
func TestNumbersAndWordsBelongTogether(t *testing.T) {
	for _, a := range alphabets(t) {
		most := 0
		for most < word.MaxCost && a.Count(a.Start(), most+1) < math.MaxUint64>>8 {
			most++
		}
		table := min(most, 4) // as deep as near tables are, or so
		ranking := a.Ranking(table)
		rapid.Check(t, func(t *rapid.T) {
			cost := rapid.IntRange(0, most).Draw(t, "cost")
			rank := rapid.Uint64Range(0, a.Count(a.Start(), cost)-1).Draw(t, "rank")
			letters := a.Unrank(nil, cost, rank)
			assert.Equal(t, cost, a.Cost(letters), a.name)
			s := a.Start()
			for _, l := range letters {
				s = a.Next(s, l)
				require.GreaterOrEqual(t, s, word.State(0), "%s: %v is no canonical word", a.name, letters)
			}
			assert.Equal(t, rank, a.Rank(letters), a.name)
			if cost <= table {
				assert.Equal(t, letters, ranking.Word(nil, cost, rank), a.name)
			}
		})
	}
}

// Words are numbered in the order of their letters in ByCost, without gaps.
func TestNumbersAscendWithTheLetters(t *testing.T) {
	for _, c := range []struct {
		puzzle string
		metric puzzle.Metric
		cost   int
	}{
		{"3x3x3", puzzle.OBTM, 4},
		{"3x3x3", puzzle.QTM, 4},
		{"vertex-cut-dodecahedron", puzzle.STM, 2},
		{"edge-cube", puzzle.OBTM, 5},
		{"cube-4", puzzle.OBTM, 3},
	} {
		a := alphabet(t, c.puzzle, c.metric)
		at := make([]int, len(a.Letters)) // position in ByCost
		for i, l := range a.ByCost {
			at[l] = i
		}
		ranking := a.Ranking(c.cost)
		n := a.Count(a.Start(), c.cost)
		words := map[string]bool{}
		var before, places []int
		for r := range n {
			letters := ranking.Word(nil, c.cost, r)
			places = places[:0]
			for _, l := range letters {
				places = append(places, at[l])
			}
			require.True(t, r == 0 || slices.Compare(before, places) < 0, "%s %v: number %d", c.puzzle, c.metric, r)
			before = append(before[:0], places...)
		}
		eachWord(a, c.cost, func(letters []int) { words[key16(letters)] = true })
		assert.Len(t, words, int(n))
	}
}

func key16(letters []int) string {
	out := make([]rune, len(letters))
	for i, l := range letters {
		out[i] = rune(l)
	}
	return string(out)
}

func TestWordIsAppended(t *testing.T) {
	a := alphabet(t, "3x3x3", puzzle.OBTM)
	own := a.Unrank(nil, 3, 1000)
	assert.Equal(t, append([]int{7, 7}, own...), a.Unrank([]int{7, 7}, 3, 1000))
	assert.Equal(t, append([]int{7, 7}, own...), a.Ranking(3).Word([]int{7, 7}, 3, 1000))
}
