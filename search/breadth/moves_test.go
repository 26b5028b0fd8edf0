package breadth

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// What package puzzle says a syllable costs is what the cheapest sequence of
// turns about its line costs.
func TestSyllableCosts(t *testing.T) {
	for _, def := range puzzle.Builtin() {
		t.Run(def.Name, func(t *testing.T) {
			p, err := puzzle.Find(def.Name)
			require.NoError(t, err)
			for _, m := range puzzle.Metrics() {
				checkSyllables(t, p, m, 0)
				checkSyllables(t, p, m, len(p.Lines)-1)
			}
		})
	}
}

func checkSyllables(t *testing.T, p *puzzle.Puzzle, m puzzle.Metric, line int) {
	distances := map[string]int{}
	syllables := p.Syllables(line)
	s := Search{Moves: movesAbout(p, m, line), Track: p.Identity(), Max: -1, Limit: len(syllables) + 1}
	require.NoError(t, s.Visit(func(position []uint16, distance int) {
		distances[fmt.Sprint(position)] = distance
	}))
	require.Len(t, distances, len(syllables)+1, "all but the idle one")
	for _, s := range syllables {
		distance, ok := distances[fmt.Sprint([]uint16(p.SyllablePerm(s)))]
		require.True(t, ok, "%v", s)
		require.Equal(t, distance, p.SyllableCost(m, s), "%v in %v", s, m)
	}
}

// movesAbout keeps the moves that move none but the layers of one line.
func movesAbout(p *puzzle.Puzzle, m puzzle.Metric, line int) []Move {
	var moves []Move
	for _, t := range blockTurns(p) {
		if p.Axes[t.Axis].Line == line {
			moves = append(moves, Move{Perm: framed(p, t), Cost: p.Cost(m, t)})
		}
	}
	return moves
}
