package word_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/puzzle"
	"turnwright/search/word"
)

// Letters and syllables are two spellings of the same; inverses and products of
// letters are those of what they do.
func TestLettersAreWhatTheyDo(t *testing.T) {
	for _, a := range alphabets(t) {
		byLine := map[int][]int{}
		for i, l := range a.Letters {
			byLine[l.Line] = append(byLine[l.Line], i)
			require.Equal(t, a.Puzzle.SyllableCost(a.Metric, l.Syllable), l.Cost)
		}
		all, err := word.ByLine(a.Puzzle, a.Metric)
		require.NoError(t, err)
		rapid.Check(t, func(t *rapid.T) {
			x := rapid.IntRange(0, len(a.Letters)-1).Draw(t, "x")
			y := rapid.SampledFrom(byLine[a.Letters[x].Line]).Draw(t, "y")
			inverse := a.Letters[x].Inverse
			assert.True(t, permOf(a.Alphabet, []int{x, inverse}).IsIdentity())
			assert.Equal(t, x, a.Letters[inverse].Inverse)
			assert.Equal(t, a.Letters[x].Family, a.Letters[inverse].Family)
			letters := []int{x, y}
			spelt, err := a.Spell(a.Syllables(letters))
			require.NoError(t, err)
			assert.Equal(t, letters, spelt)
			// The product is a letter of the alphabet by line, unless it is idle.
			long, err := all.Spell(a.Syllables(letters))
			require.NoError(t, err)
			product := all.Product(long[0], long[1])
			if y == inverse {
				assert.Equal(t, -1, product)
			} else {
				require.GreaterOrEqual(t, product, 0)
				assert.Equal(t, permOf(a.Alphabet, letters), permOf(all, []int{product}))
			}
		})
	}
}

func TestSyllablesThatAreNoLetters(t *testing.T) {
	a := alphabet(t, "3x3x3", puzzle.OBTM)
	_, err := a.Spell([]puzzle.Syllable{{Line: 0, Amounts: []int{0, 1, 0}}})
	assert.ErrorContains(t, err, "no letter does [0 1 0] about line 0", "the reference layer is at rest")
	_, err = a.Spell([]puzzle.Syllable{{Line: 0, Amounts: []int{1, 0, 1}}})
	assert.ErrorContains(t, err, "no letter", "in this alphabet each layer is a family")
	letters, err := a.Spell(nil)
	require.NoError(t, err)
	assert.Empty(t, letters)
}
