package rounds

import (
	"fmt"
	"math/rand/v2"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/word"
)

// stirs is how many letters a random word has for each layer that can be turned: with it
// the 7x7x7 gets 90, which is about what competitions take (from memory).
const stirs = 5

// wordScramble is a random canonical word: each letter is drawn from those that may come
// next, so none undoes or merges with the one before. It stands in where nothing can write
// a scramble for a drawn position, and is no uniform draw.
func wordScramble(p *puzzle.Puzzle, rnd *rand.Rand) (text, way string, err error) {
	alphabet, err := word.New(p, puzzle.STM)
	if err != nil {
		return "", "", err
	}
	length := 0
	for _, line := range p.Lines {
		length += stirs * (line.Layers - 1)
	}
	var letters []int
	for state, tries := alphabet.Start(), 0; len(letters) < length; tries++ {
		if tries > 1000*(length+1) {
			return "", "", fmt.Errorf("%s has no long words: there is nothing to scramble", p.Name)
		}
		letter := rnd.IntN(len(alphabet.Letters))
		if next := alphabet.Next(state, letter); next >= 0 {
			letters, state = append(letters, letter), next
		}
	}
	turns, _ := p.FromFrame(puzzle.STM, alphabet.Syllables(letters))
	return notation.Print(p, turns), fmt.Sprintf("a random sequence of %d turns that don't merge; positions are not drawn uniformly on this puzzle", length), nil
}
