package word_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
	"turnwright/search/word"
)

// named is an alphabet with a name for the test's output.
type named struct {
	name string
	*word.Alphabet
}

// alphabets makes the alphabets of every built-in puzzle under every metric, by
// layer and by line. A short run leaves out the large puzzles.
func alphabets(t testing.TB) []named {
	t.Helper()
	var out []named
	for _, def := range puzzle.Builtin() {
		p := find(t, def.Name)
		if testing.Short() && len(p.Stickers) > 100 {
			continue
		}
		for _, m := range puzzle.Metrics() {
			name := fmt.Sprint(def.Name, " ", m)
			a, err := word.New(p, m)
			require.NoError(t, err)
			b, err := word.ByLine(p, m)
			require.NoError(t, err)
			out = append(out, named{name, a}, named{name + " by line", b})
		}
	}
	return out
}

func find(t testing.TB, name string) *puzzle.Puzzle {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	return p
}

func alphabet(t testing.TB, name string, m puzzle.Metric) *word.Alphabet {
	t.Helper()
	a, err := word.New(find(t, name), m)
	require.NoError(t, err)
	return a
}

// eachWord visits every canonical word of exactly the cost, by the automaton
// alone; the letters are only lent.
func eachWord(a *word.Alphabet, cost int, visit func(letters []int)) {
	var walk func(letters []int, s word.State, left int)
	walk = func(letters []int, s word.State, left int) {
		if left == 0 {
			visit(letters)
			return
		}
		for i, l := range a.Letters {
			if next := a.Next(s, i); next >= 0 && l.Cost <= left {
				walk(append(letters, i), next, left-l.Cost)
			}
		}
	}
	walk(make([]int, 0, cost), a.Start(), cost)
}

// permOf is what letters do to all stickers.
func permOf(a *word.Alphabet, letters []int) puzzle.Perm {
	perm := a.Puzzle.Identity()
	for _, l := range letters {
		perm = perm.Then(a.Puzzle.SyllablePerm(a.Letters[l].Syllable))
	}
	return perm
}
