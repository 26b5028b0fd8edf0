package pattern_test

import (
	"context"
	"fmt"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/word"
)

var alphabets sync.Map

func alphabet(t require.TestingT, name string, m puzzle.Metric) *word.Alphabet {
	key := fmt.Sprint(name, m)
	if a, ok := alphabets.Load(key); ok {
		return a.(*word.Alphabet)
	}
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	a, err := word.New(p, m)
	require.NoError(t, err)
	alphabets.Store(key, a)
	return a
}

// What is chosen, as the pieces and the positions of each table.
func TestChoose(t *testing.T) {
	for _, c := range []struct {
		puzzle   string
		byColour bool
		memory   int64
		want     string
	}{
		{"cube-2", false, 64 << 20, " 6:3674160"},
		{"cube-3", false, 64 << 20, " 6:42577920 6:42577920 6:14696640 6:14696640"},
		{"cube-3", false, 512 << 20, " 7:88179840 6:42577920 6:42577920"},
		{"tipped-tetrahedron", false, 32 << 20, " 5:23040 8:6561"},
		{"centre-cut-vertex-cube", false, 16 << 20, " 11:25194240"},
		{"vertex-octahedron", false, 64 << 20, " 6:42577920 6:42577920 6:4096"},
		{"cube-4", true, 512 << 20, " 6:96909120 6:96909120 6:96909120 6:96909120 8:51482970 8:51482970 8:51482970 6:3674160"},
	} {
		t.Run(fmt.Sprint(c.puzzle, " in ", c.memory), func(t *testing.T) {
			a := alphabet(t, c.puzzle, puzzle.OBTM)
			wants := pattern.Solved(a.Puzzle)
			if c.byColour {
				wants = pattern.SolvedByColour(a.Puzzle)
			}
			specs, err := pattern.Choose(a, wants, c.memory)
			require.NoError(t, err)
			got, sum := "", uint64(0)
			for _, s := range specs {
				got += fmt.Sprintf(" %d:%d", len(s.Wants), s.Entries())
				sum += s.Bytes()
			}
			assert.Equal(t, c.want, got)
			assert.LessOrEqual(t, sum, uint64(c.memory))
		})
	}
}

func TestRefusals(t *testing.T) {
	a := alphabet(t, "vertex-cut-dodecahedron", puzzle.STM)
	solved := pattern.Solved(a.Puzzle)
	_, err := pattern.NewSpec(a, solved)
	assert.ErrorContains(t, err, "more than 64 places")
	_, err = pattern.NewSpec(a, nil)
	assert.ErrorContains(t, err, "needs a piece")
	_, err = pattern.NewSpec(a, []pattern.Want{solved[3], solved[3]})
	assert.ErrorContains(t, err, "piece 3 is there twice")
	_, err = pattern.NewSpec(a, []pattern.Want{{Piece: len(solved)}})
	assert.ErrorContains(t, err, "has no piece 102")
	_, err = pattern.NewSpec(a, []pattern.Want{{Piece: 3}})
	assert.ErrorContains(t, err, "never be where it is wanted")
	_, err = pattern.NewSpec(a, []pattern.Want{{Piece: 3, Slots: []int{99}}})
	assert.ErrorContains(t, err, "has no slot 99")
	_, err = pattern.Choose(a, []pattern.Want{{Piece: -1}}, 1<<20)
	assert.ErrorContains(t, err, "has no piece -1")
	_, err = pattern.Choose(a, solved, 1000)
	assert.ErrorContains(t, err, "too few")

	cube := alphabet(t, "cube-3", puzzle.OBTM)
	_, err = pattern.NewSpec(cube, pattern.Solved(cube.Puzzle))
	assert.ErrorContains(t, err, "more than 1099511627776 positions")
}

func TestCancel(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	_, err := pattern.Build(ctx, corners(t, 5), 2, func(done, total uint64) { cancel() })
	assert.ErrorIs(t, err, context.Canceled)
}
