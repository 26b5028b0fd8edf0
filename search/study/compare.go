package study

import (
	"errors"
	"fmt"
	"slices"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// MaxCompared is how many solutions are compared at once.
const MaxCompared = 12

// Comparison has solutions of one scramble side by side, in plain data.
type Comparison struct {
	Solutions []Analysis `json:"solutions"`
	Shared    []Shared   `json:"shared"` // by pair; pairs that begin differently are left out
}

// Shared is the longest beginning that two solutions have in common: the same turns of the
// puzzle, however it is held and whatever they are called, those about one line in any order.
type Shared struct {
	First  Beginning `json:"first"`
	Second Beginning `json:"second"`
}

// Beginning is how a solution begins.
type Beginning struct {
	Solution int    `json:"solution"` // index into the solutions
	To       int    `json:"to"`       // its last turn, from 1
	Turns    string `json:"turns"`
	Length   int    `json:"length"` // under the metric
}

// What Compare refuses.
var (
	ErrFew        = errors.New("nothing to compare: give two solutions at least")
	ErrMany       = fmt.Errorf("at most %d solutions are compared at once: leave some out", MaxCompared)
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
				out.Shared = append(out.Shared, Shared{a.beginning(i, n), studies[j].beginning(j, m)})
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
	for _, s := range studies {
		if s.Puzzle.Name != first.Puzzle.Name || s.Metric != first.Metric || !slices.Equal(s.Scramble, first.Scramble) {
			return ErrOther
		}
	}
	return nil
}

func (s *Study) beginning(solution, to int) Beginning {
	turns := s.Turns[:to]
	return Beginning{solution, to, notation.Print(s.Puzzle, turns), notation.Length(s.Puzzle, s.Metric, turns)}
}

// sharedTurns is how many turns of each belong to their common beginning.
func sharedTurns(p *puzzle.Puzzle, a, b []puzzle.Turn) (inA, inB int) {
	equal := func(x, y puzzle.Syllable) bool { return x.Line == y.Line && slices.Equal(x.Amounts, y.Amounts) }
	all, other := syllables(p, a), syllables(p, b)
	n := 0 // whole syllables in common; of the next a part may be, too
	for n < len(all) && n < len(other) && equal(all[n], other[n]) {
		n++
	}
	ends := func(turns []puzzle.Turn, hit func(to int, word []puzzle.Syllable)) {
		for to := len(turns); to > 0; to-- {
			if w := syllables(p, turns[:to]); len(w) >= n && len(w) <= n+1 && slices.EqualFunc(w[:n], all[:n], equal) {
				hit(to, w)
			}
		}
	}
	type end struct {
		to   int
		word []puzzle.Syllable
	}
	var inOther []end
	ends(b, func(to int, word []puzzle.Syllable) { inOther = append(inOther, end{to, word}) })
	ends(a, func(to int, word []puzzle.Syllable) {
		if inA > 0 || len(word) == 0 {
			return
		}
		for _, e := range inOther {
			if slices.EqualFunc(word, e.word, equal) {
				inA, inB = to, e.to
				return
			}
		}
	})
	return inA, inB
}

func syllables(p *puzzle.Puzzle, turns []puzzle.Turn) []puzzle.Syllable {
	word, _ := p.ToFrame(turns)
	return word
}
