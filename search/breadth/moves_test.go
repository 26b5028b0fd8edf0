package breadth

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"turnwright/search/group"
	"turnwright/search/puzzle"
)

// What package puzzle says a syllable costs is what the cheapest sequence of
// turns about its line costs.
func TestSyllableCosts(t *testing.T) {
	for _, def := range puzzle.Builtin() {
		t.Run(def.Name, func(t *testing.T) {
			p, err := puzzle.Find(def.Name)
			require.NoError(t, err)
			if testing.Short() && len(p.Stickers) > 200 {
				t.Skip("large cubes have thousands of syllables about a line")
			}
			for _, m := range puzzle.Metrics() {
				checkSyllables(t, p, m, 0)
				checkSyllables(t, p, m, len(p.Lines)-1)
			}
		})
	}
}

func checkSyllables(t *testing.T, p *puzzle.Puzzle, m puzzle.Metric, line int) {
	moves := movesAbout(p, m, line)
	g, err := group.New(perms(moves)...)
	require.NoError(t, err)
	syllables := p.Syllables(line)
	distances := map[string]int{}
	s := Search{Moves: moves, Track: g.Base(), Max: -1, Limit: len(syllables) + 1}
	require.NoError(t, s.Visit(func(position []uint16, distance int) {
		distances[fmt.Sprint(position)] = distance
	}))
	require.Len(t, distances, len(syllables)+1, "all but the idle one")
	for _, syllable := range syllables {
		perm := p.SyllablePerm(syllable)
		var position []uint16
		for _, x := range g.Base() {
			position = append(position, perm[x])
		}
		distance, ok := distances[fmt.Sprint(position)]
		require.True(t, ok, "%v", syllable)
		require.Equal(t, distance, p.SyllableCost(m, syllable), "%v in %v", syllable, m)
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
