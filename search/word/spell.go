package word

import (
	"fmt"

	"turnwright/search/puzzle"
)

// Spell finds the letters of syllables. It fails for a syllable that is no
// letter of the alphabet.
func (a *Alphabet) Spell(syllables []puzzle.Syllable) ([]int, error) {
	out := make([]int, len(syllables))
	for i, s := range syllables {
		letter, ok := a.index[fmt.Sprint(s)]
		if !ok {
			return nil, fmt.Errorf("no letter does %v about line %d", s.Amounts, s.Line)
		}
		out[i] = letter
	}
	return out, nil
}

// Product is the letter that does what x and then y do, which must be on one
// line, or -1 if they undo each other.
func (a *Alphabet) Product(x, y int) int {
	steps := a.Puzzle.Lines[a.Letters[x].Line].Steps
	sum := puzzle.Syllable{Line: a.Letters[x].Line}
	for k, amount := range a.Letters[x].Amounts {
		sum.Amounts = append(sum.Amounts, (amount+a.Letters[y].Amounts[k])%steps)
	}
	if letter, ok := a.index[fmt.Sprint(sum)]; ok {
		return letter
	}
	return -1
}
