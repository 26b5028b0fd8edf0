package deepen_test

import (
	"context"
	"fmt"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"turnwright/search/deepen"
	"turnwright/search/goal"
	"turnwright/search/puzzle"
	"turnwright/search/table"
)

// answer is the best candidate for each key, after all lengths of a plan.
type answer map[uint64]deepen.Candidate

func (a answer) add(candidates []deepen.Candidate) {
	for _, c := range candidates {
		if old, ok := a[c.Key]; !ok || c.Before(old) {
			a[c.Key] = c
		}
	}
}

// finish runs every unit of every length on one core, as a server would, and
// verifies all that is left.
func finish(t *testing.T, q deepen.Question) (answer, *deepen.Plan) {
	t.Helper()
	ctx := context.Background()
	plan, err := deepen.NewPlan(q)
	require.NoError(t, err)
	var tables []*table.Near
	for _, spec := range plan.Tables() {
		near, err := table.Build(ctx, spec, 1, nil)
		require.NoError(t, err)
		tables = append(tables, near)
	}
	out := answer{}
	for length := 1; length <= q.Max; length++ {
		covered := uint64(0)
		for _, u := range plan.Units(length) {
			report, err := plan.Run(ctx, u, tables[u.Pass], nil)
			require.NoError(t, err)
			require.Equal(t, u.Leaves, report.Leaves, "unit %+v", u)
			covered += report.Leaves
			out.add(report.Found)
		}
		require.Equal(t, plan.Leaves(length), covered)
		var shorter []string
		for _, c := range out {
			if c.Length == length-2 {
				shorter = append(shorter, c.Text)
			}
		}
		more, err := plan.Close(length, shorter)
		require.NoError(t, err)
		out.add(more)
	}
	for _, c := range out {
		require.NoError(t, deepen.Verify(q, c))
	}
	return out, plan
}

// long is what a test that takes minutes does where TURNWRIGHT_LONG is set, and brief what
// it does otherwise.
func long[T any](long, brief T) T {
	if os.Getenv("TURNWRIGHT_LONG") != "" {
		return long
	}
	return brief
}

// The walk of one word for each cyclic family against the walk of all: the same
// classes, at the same lengths. So with a table cut into parts.
func TestReductionAgainstPlainWalk(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	cases := []struct {
		puzzle, cycle string
		ignore        []string
		metric        puzzle.Metric
		max           int
	}{ // with TURNWRIGHT_LONG what ignores a type goes one longer, and the cases of
		// length 0 are walked: some minutes in all
		{"3x3x3", "corner", nil, puzzle.OBTM, 10},
		{"3x3x3", "edge", nil, puzzle.OBTM, 10},
		{"3x3x3", "edge", nil, puzzle.STM, 7},
		{"3x3x3", "edge", nil, puzzle.QTM, 10},
		{"3x3x3", "corner", nil, puzzle.QTM, 11},
		{"3x3x3", "edge", []string{"corner"}, puzzle.OBTM, 7},
		{"3x3x3", "corner", []string{"edge"}, puzzle.STM, long(8, 0)},
		{"2x2x2", "corner", nil, puzzle.OBTM, 9},
		{"edge-cube", "centre", []string{"corner"}, puzzle.OBTM, 8},
		{"skewb", "centre", nil, puzzle.OBTM, 10},
		{"tetrahedron", "edge", nil, puzzle.STM, 10},
		{"vertex-octahedron", "edge", []string{"corner"}, puzzle.STM, 6},
		{"vertex-cut-dodecahedron", "edge", []string{"triangle", "centre"}, puzzle.STM, long(6, 5)},
		{"vertex-cut-dodecahedron", "centre", []string{"triangle"}, puzzle.STM, long(8, 0)},
		{"centre-cut-dodecahedron", "centre", []string{"corner"}, puzzle.OBTM, long(7, 6)},
	}
	for _, c := range cases {
		t.Run(fmt.Sprint(c.puzzle, c.cycle, c.ignore, c.metric), func(t *testing.T) {
			if testing.Short() && len(c.ignore) > 0 && c.max > 6 {
				t.Skip("takes seconds")
			}
			if c.max == 0 {
				t.Skip("takes half a minute: TURNWRIGHT_LONG")
			}
			p, err := puzzle.Find(c.puzzle)
			require.NoError(t, err)
			g, err := goal.New(p, c.cycle, nil, c.ignore)
			require.NoError(t, err)
			q := deepen.Question{Puzzle: p, Goal: g, Metric: c.metric, Max: c.max, Plain: true}
			plain, _ := finish(t, q)
			require.NotEmpty(t, plain, "a case without findings tests nothing")
			q.Plain = false
			reduced, plan := finish(t, q)
			sameLengths(t, plain, reduced)
			q.Memory = int64(plan.Tables()[0].Bytes()) - 1 // one byte short: in parts, or less deep
			small, _ := finish(t, q)
			sameLengths(t, plain, small)
		})
	}
}

func sameLengths(t *testing.T, want, got answer) {
	t.Helper()
	lengths := func(a answer) map[uint64]int {
		out := map[uint64]int{}
		for key, c := range a {
			out[key] = c.Length
		}
		return out
	}
	require.Equal(t, lengths(want), lengths(got))
}
