package word_test

import (
	"encoding/binary"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/breadth"
	"turnwright/search/puzzle"
	"turnwright/search/word"
)

// Canonical words lose no position, and reach each at its least cost: they agree
// with the plain breadth-first search, as far as some thousands of words go.
func TestWordsReachEveryPosition(t *testing.T) {
	for _, def := range puzzle.Builtin() {
		for _, m := range puzzle.Metrics() {
			t.Run(def.Name+" "+m.String(), func(t *testing.T) {
				p, err := puzzle.Find(def.Name)
				require.NoError(t, err)
				if testing.Short() && len(p.Stickers) > 200 {
					t.Skip("large cubes have thousands of syllables about a line")
				}
				a, err := word.New(p, m)
				require.NoError(t, err)
				checkComplete(t, a)
				a, err = word.ByLine(p, m)
				require.NoError(t, err)
				checkComplete(t, a)
			})
		}
	}
}

func checkComplete(t *testing.T, a *word.Alphabet) {
	most := uint64(5000)
	if testing.Short() {
		most = 500
	}
	if a.Commuting {
		most *= 10 // so that three that commute come up
	}
	cost := 1
	for a.Count(a.Start(), cost+1) < most && cost < 8 {
		cost++
	}
	got := map[string]int{}
	words := make([]uint64, cost+1)
	var walk func(perm puzzle.Perm, state word.State, sofar int)
	walk = func(perm puzzle.Perm, state word.State, sofar int) {
		words[sofar]++
		if known, ok := got[key(perm)]; !ok || sofar < known {
			got[key(perm)] = sofar
		}
		for i, l := range a.Letters {
			if next := a.Next(state, i); next >= 0 && sofar+l.Cost <= cost {
				walk(perm.Then(a.Puzzle.SyllablePerm(l.Syllable)), next, sofar+l.Cost)
			}
		}
	}
	walk(a.Puzzle.Identity(), a.Start(), 0)
	for n, walked := range words {
		assert.Equal(t, walked, a.Count(a.Start(), n), "words of cost %d", n)
	}

	want := map[string]int{}
	s := breadth.Search{
		Moves: breadth.Moves(a.Puzzle, a.Metric),
		Track: a.Puzzle.Identity(),
		Max:   cost,
		Limit: 1e5,
	}
	require.NoError(t, s.Visit(func(position []uint16, distance int) {
		want[key(position)] = distance
	}))
	assert.Greater(t, len(want), 1)
	if len(want) != len(got) {
		require.Len(t, got, len(want)) // without printing all of them
	}
	for position, distance := range want {
		require.Equal(t, distance, got[position])
	}
}

func key(perm []uint16) string {
	var bytes []byte
	for _, x := range perm {
		bytes = binary.LittleEndian.AppendUint16(bytes, x)
	}
	return string(bytes)
}

func TestPuzzlesWithTooManyTurnsAreRefused(t *testing.T) {
	def, err := puzzle.ParseDefinition([]byte("{name: tower, solid: cube, axes: [{at: faces, cuts: ['3/4', '1/2', '1/4', '0']}]}"))
	require.NoError(t, err)
	p, err := puzzle.Build(def)
	require.NoError(t, err)
	_, err = word.New(p, puzzle.STM)
	assert.ErrorContains(t, err, "at most 20000 can be searched")
}
