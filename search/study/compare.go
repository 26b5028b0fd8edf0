package study

import (
	"errors"
	"fmt"
	"slices"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Bounds of what is compared at once.
const (
	MaxCompared = 12   // solutions
	MaxTogether = 4000 // turns of all of them
)

// Comparison has solutions of one scramble side by side, in plain data.
type Comparison struct {
	Solutions []Analysis `json:"solutions"`
	Shared    []Shared   `json:"shared"` // by pair; pairs that begin differently are left out
}

// Shared is the longest beginning that two solutions have in common: the same turns of the
// puzzle, however it is held and whatever they are called, those about one line in any order, and
// without what cancels.
type Shared struct {
	First    int    `json:"first"`  // index into the solutions
	Second   int    `json:"second"` // the same
	FirstTo  int    `json:"firstTo"`
	SecondTo int    `json:"secondTo"` // the last turns that both have, from 1
	Turns    string `json:"turns"`    // as the first writes them, merged
	Length   int    `json:"length"`   // of these, under the metric
}

// What Compare refuses.
var (
	ErrFew        = errors.New("nothing to compare: give two solutions at least")
	ErrMany       = fmt.Errorf("at most %d solutions are compared at once: leave some out", MaxCompared)
	ErrLong       = fmt.Errorf("the solutions have more than %d turns together: leave some out", MaxTogether)
	ErrNoScramble = errors.New("without a scramble nothing tells that the solutions solve the same: give it")
	ErrOther      = errors.New("the solutions are not all of one puzzle, metric and scramble")
)

// Compare tells what can be told at once. What could have been shorter is for [Weigh].
func Compare(studies []*Study) (Comparison, error) {
	var out Comparison
	if err := together(studies); err != nil {
		return out, err
	}
	for _, s := range studies {
		a, err := s.Analyse()
		if err != nil {
			return out, err
		}
		out.Solutions = append(out.Solutions, a)
	}
	for i, a := range studies {
		for j := i + 1; j < len(studies); j++ {
			n, m := sharedTurns(a.Puzzle, a.Turns, studies[j].Turns)
			if n > 0 && m > 0 {
				turns := notation.Simplify(a.Puzzle, a.Turns[:n])
				out.Shared = append(out.Shared, Shared{i, j, n, m, notation.Print(a.Puzzle, turns), notation.Length(a.Puzzle, a.Metric, turns)})
			}
		}
	}
	return out, nil
}

// together tells why solutions can't be compared.
func together(studies []*Study) error {
	switch {
	case len(studies) < 2:
		return ErrFew
	case len(studies) > MaxCompared:
		return ErrMany
	}
	first := studies[0]
	if len(first.Scramble) == 0 {
		return ErrNoScramble
	}
	turns := 0
	for _, s := range studies {
		if turns += len(s.Turns); turns > MaxTogether {
			return ErrLong
		}
		if s.Puzzle.Name != first.Puzzle.Name || s.Metric != first.Metric || !slices.Equal(s.Scramble, first.Scramble) {
			return ErrOther
		}
	}
	return nil
}

// sharedTurns is how many turns of each belong to their common beginning.
func sharedTurns(p *puzzle.Puzzle, a, b []puzzle.Turn) (inA, inB int) {
	common, _ := p.ToFrame(a)
	other, _ := p.ToFrame(b)
	n := 0
	for n < len(common) && n < len(other) && same(common[n], other[n]) {
		n++
	}
	common = common[:n]
	ends := endsAfter(p, b, common)
	for _, x := range endsAfter(p, a, common) {
		for _, y := range ends {
			if slices.EqualFunc(x.rest, y.rest, same) && n+len(x.rest) > 0 {
				return x.to, y.to
			}
		}
	}
	return 0, 0
}

func same(x, y puzzle.Syllable) bool { return x.Line == y.Line && slices.Equal(x.Amounts, y.Amounts) }

// end is a number of turns that come to a word, and to one syllable more or none.
type end struct {
	to   int
	rest []puzzle.Syllable
}

// endsAfter finds all that turns have of a word, the longest first.
func endsAfter(p *puzzle.Puzzle, turns []puzzle.Turn, word []puzzle.Syllable) []end {
	var out []end
	var at []puzzle.Syllable // what the turns so far come to
	good, held := 0, 0       // syllables that are the word's; how the whole is held
	for i, t := range turns {
		syllable, spin := p.ToFrame([]puzzle.Turn{p.Symmetries[p.Symmetries[held].Inverse].Image(t)})
		held = p.Compose(spin, held)
		last := max(0, len(at)-1)
		at = append(at[:last], p.Merge(append(at[last:], syllable...))...)
		for good = min(good, last); good < min(len(at), len(word)) && same(at[good], word[good]); {
			good++
		}
		if good == len(word) && len(at) <= len(word)+1 {
			out = append(out, end{i + 1, slices.Clone(at[good:])})
		}
	}
	slices.Reverse(out)
	return out
}
