package table_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
	"turnwright/search/table"
	"turnwright/search/word"
)

// Positions of the 3x3x3 at each distance, by the keys of all canonical words: words
// have the same key if they make the same position. That two of a hundred million
// positions share a key of 64 bits is one chance in three thousand.
//
// Sources: OEIS A080601 (OBTM) and A080602 (QTM); T. Rokicki, H. Kociemba,
// M. Davidson, J. Dethridge, SIAM Review 56(4), 2014, table 5.1.
func TestPositionsByKeys(t *testing.T) {
	for _, c := range []struct {
		metric puzzle.Metric
		want   []int
		short  int // how far a short run goes
	}{
		{puzzle.OBTM, []int{1, 18, 243, 3240, 43239, 574908, 7618438, 100803036}, 5},
		{puzzle.QTM, []int{1, 12, 114, 1068, 10011, 93840, 878880, 8221632}, 6},
	} {
		p, err := puzzle.Find("3x3x3")
		require.NoError(t, err)
		a, err := word.New(p, c.metric)
		require.NoError(t, err)
		var pieces []int
		for i := range p.Pieces {
			pieces = append(pieces, i)
		}
		tracker := table.NewTracker(a, pieces)
		most := len(c.want) - 1
		if testing.Short() {
			most = c.short
		}
		keys := make([]uint64, 0, a.Count(a.Start(), most))
		var walk func(state []uint16, s word.State, left int)
		walk = func(state []uint16, s word.State, left int) {
			next := slices.Clone(state)
			for cost := 1; cost <= left; cost++ {
				for _, r := range a.Ranges(s, cost) {
					if cost == left {
						n := len(keys)
						keys = keys[:n+r.To-r.From]
						tracker.Children(keys[n:], state, r.From)
						continue
					}
					for _, letter := range a.ByCost[r.From:r.To] {
						tracker.Move(next, state, letter)
						walk(next, a.Next(s, letter), left-cost)
					}
				}
			}
		}
		nearer := []uint64{tracker.Key(tracker.Start)} // of lesser distance, sorted
		for distance := 1; distance <= most; distance++ {
			want := c.want[distance]
			keys = keys[:0]
			walk(tracker.Start, a.Start(), distance)
			slices.Sort(keys)
			here := slices.Compact(keys)
			here = slices.DeleteFunc(here, func(k uint64) bool {
				_, found := slices.BinarySearch(nearer, k)
				return found
			})
			assert.Equal(t, want, len(here), "%v, distance %d", c.metric, distance) // Len would print them
			if distance < most {
				nearer = append(nearer, here...)
				slices.Sort(nearer)
			}
		}
	}
}
