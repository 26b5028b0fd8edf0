package breadth

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/puzzle"
)

// relaxed is slower still: distances shrink until no move shortens one.
func relaxed(track []uint16, moves []Move) map[string]int {
	places := map[string][]uint16{fmt.Sprint(track): track}
	distance := map[string]int{fmt.Sprint(track): 0}
	for changed := true; changed; {
		changed = false
		for key, here := range places {
			for _, move := range moves {
				there := make([]uint16, len(here))
				for k, x := range here {
					there[k] = move.Perm[x]
				}
				next, cost := fmt.Sprint(there), distance[key]+move.Cost
				if old, known := distance[next]; !known || cost < old {
					places[next], distance[next], changed = there, cost, true
				}
			}
		}
	}
	return distance
}

func TestAgainstRelaxing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		degree := rapid.IntRange(2, 5).Draw(t, "degree")
		points := make([]uint16, degree)
		for x := range points {
			points[x] = uint16(x)
		}
		var moves []Move
		for range rapid.IntRange(1, 4).Draw(t, "moves") {
			moves = append(moves, Move{
				Perm: rapid.Permutation(points).Draw(t, "perm"),
				Cost: rapid.IntRange(1, 4).Draw(t, "cost"),
			})
		}
		track := points[:rapid.IntRange(1, degree).Draw(t, "tracked")]
		want := relaxed(track, moves)

		got := map[string]int{}
		last := 0
		require.NoError(t, Search{Moves: moves, Track: track, Max: -1, Limit: 120}.Visit(func(position []uint16, distance int) {
			require.GreaterOrEqual(t, distance, last, "nearest first")
			require.NotContains(t, got, fmt.Sprint(position), "once each")
			got[fmt.Sprint(position)], last = distance, distance
		}))
		require.Equal(t, want, got)

		bound := rapid.IntRange(0, last).Draw(t, "bound")
		near, err := Search{Moves: moves, Track: track, Max: bound, Limit: 120}.Levels()
		require.NoError(t, err)
		counted := make([]uint64, len(near))
		for _, d := range want {
			if d <= bound {
				counted[d]++
			}
		}
		require.Equal(t, counted, near)
	})
}

// The base tells elements apart as well as the whole permutation does.
func TestBaseIsEnough(t *testing.T) {
	p, err := puzzle.Find("vertex-cut-dodecahedron")
	require.NoError(t, err)
	s := Search{Moves: Moves(p, puzzle.STM), Max: 2, Limit: 1e5}
	byBase, err := s.Levels()
	require.NoError(t, err)
	s.Track = p.Identity()
	byAll, err := s.Levels()
	require.NoError(t, err)
	assert.Equal(t, byAll, byBase)
}

func TestRefusals(t *testing.T) {
	swap := Move{Perm: puzzle.Perm{1, 0, 2}, Cost: 1}
	turn := Move{Perm: puzzle.Perm{1, 2, 0}, Cost: 1}
	for _, c := range []struct {
		name   string
		search Search
		want   string
	}{
		{"free move", Search{Moves: []Move{swap, {Perm: swap.Perm}}, Max: -1, Limit: 9}, "move 2 costs 0"},
		{"no moves", Search{Max: -1, Limit: 9}, "needs a generator"},
		{"other degree", Search{Moves: []Move{swap, {Perm: puzzle.Perm{1, 0}, Cost: 1}}, Max: -1, Limit: 9}, "moves 2 points"},
		{"too many positions", Search{Moves: []Move{swap, turn}, Max: -1, Limit: 5}, "more than 5 positions"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := c.search.Levels()
			require.ErrorContains(t, err, c.want)
		})
	}
	levels, err := Search{Moves: []Move{swap, turn}, Max: -1, Limit: 6}.Levels()
	require.NoError(t, err)
	assert.Equal(t, []uint64{1, 2, 3}, levels)
}
