package isolate_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/isolate"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Turns of two faces of the shallow-cut dodecahedron that are no neighbours commute:
// with one put before a turn of the other and taken back after it, nothing gets longer.
func TestWhatCommutesCancels(t *testing.T) {
	b, p, _ := bench(t, "shallow-cut-dodecahedron", "corner", nil, puzzle.STM, isolate.Options{})
	most := 5
	if testing.Short() {
		most = 1
	}
	list, err := b.Ranked(t.Context(), 3, 1, most)
	require.NoError(t, err)
	require.NotEmpty(t, list)
	longer := 0
	for _, c := range list {
		for i, turn := range c.X {
			for axis := range p.Axes {
				other := puzzle.Turn{Axis: axis, From: 1, To: 1, Amount: 1}
				before, after := p.TurnPerm(other).Then(p.TurnPerm(turn)), p.TurnPerm(turn).Then(p.TurnPerm(other))
				if p.Axes[axis].Line == p.Axes[turn.Axis].Line || !slices.Equal(before, after) {
					continue
				}
				x := slices.Concat(c.X[:i], []puzzle.Turn{other, turn}, puzzle.Invert([]puzzle.Turn{other}), c.X[i+1:])
				if len(notation.Simplify(p, x)) > len(c.X) {
					longer++
				}
				if testing.Short() && longer > 1 {
					continue
				}
				meetings, err := b.With(x, 1)
				require.NoError(t, err)
				for m := range meetings {
					if m.Text == notation.Print(p, c.Y) {
						require.NotNil(t, m.Candidate)
						require.Equal(t, c.Length, m.Candidate.Length)
						require.Equal(t, c.Change, m.Candidate.Change)
					}
				}
			}
		}
	}
	assert.Positive(t, longer)
}
