package improve_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/improve"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Pieces are told wrong as the whole is held where fewest are.
func TestWrong(t *testing.T) {
	for _, c := range []struct {
		puzzle, scramble, solution string
		corners, edges             int
		err                        error
	}{
		{"3x3x3", "R' D' R U' R' D R U", "F F'", 3, 0, nil},            // three corners: common practice
		{"3x3x3", "R' D' R U' R' D R U x y'", "", 3, 0, nil},           // the same, held another way
		{"3x3x3", "R' D' R U' R' D R U", "R' L F2 R L' U2", 3, 3, nil}, // and three edges: common practice
		{"3x3x3", "R U R' U'", "", 4, 3, nil},                          // two swaps of corners, three edges: by hand
		{"3x3x3", "R U F2", "F2 U' R'", 0, 0, improve.ErrSolved},
		{"3x3x3", "R U F2", "F2 U' R' z2", 0, 0, improve.ErrSolved}, // Regulation 10c: however it is held
		{"3x3x3", "2.R 2.L", "", 0, 0, improve.ErrSolved},           // there is one middle layer: turned and back
		{"3x3x3", "R U F2 D' L B", "", 0, 0, improve.ErrNoWay},      // all is wrong
		{"2x2x2", "R' D' R U' R' D R U (R L') x'", "", 3, 0, nil},   // R L' turns the whole 2x2x2
		{"2x2x2", "R L'", "", 0, 0, improve.ErrSolved},
		{"3x3x3", "", "", 0, 0, improve.ErrSolved},
		{"3x3x3", "R' D' R U' R' D R U", "U' R' D' R U R' D R", 0, 0, improve.ErrSolved}, // the inverse
	} {
		p, err := puzzle.Find(c.puzzle)
		require.NoError(t, err)
		read := func(text string) []puzzle.Turn {
			if text == "" {
				return nil
			}
			turns, err := notation.ParseTurns(p, text)
			require.NoError(t, err)
			return turns
		}
		wrong, err := improve.Wrong(p, read(c.scramble), read(c.solution))
		assert.ErrorIs(t, err, c.err, "%v", c)
		if c.err != nil {
			continue
		}
		got := map[string]int{}
		for i, n := range wrong {
			got[p.Types[i].Name] = n
		}
		assert.Equal(t, c.corners, got["corner"], "%v", c)
		assert.Equal(t, c.edges, got["edge"], "%v", c)
		assert.Zero(t, got["centre"])
	}
}
