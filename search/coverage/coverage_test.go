package coverage_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/coverage"
	"turnwright/search/deepen"
	"turnwright/search/goal"
	"turnwright/search/puzzle"
	"turnwright/search/table"
)

// searched fills a table with what a search up to a length finds.
func searched(t testing.TB, name, cycle string, ignore []string, m puzzle.Metric, length int) (*coverage.Table, map[uint64]deepen.Candidate) {
	t.Helper()
	ctx := context.Background()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	g, err := goal.New(p, cycle, nil, ignore)
	require.NoError(t, err)
	q := deepen.Question{Puzzle: p, Goal: g, Metric: m, Max: length, KeepCore: ignore == nil}
	plan, err := deepen.NewPlan(q)
	require.NoError(t, err)
	var tables []*table.Near
	for _, spec := range plan.Tables() {
		near, err := table.Build(ctx, spec, 2, nil)
		require.NoError(t, err)
		tables = append(tables, near)
	}
	best := map[uint64]deepen.Candidate{}
	add := func(found []deepen.Candidate) {
		for _, c := range found {
			if old, ok := best[c.Key]; !ok || c.Before(old) {
				best[c.Key] = c
			}
		}
	}
	for l := 1; l <= length; l++ {
		for _, u := range plan.Units(l) {
			report, err := plan.Run(ctx, u, tables[u.Pass], nil)
			require.NoError(t, err)
			add(report.Found)
		}
		var shorter []string
		for _, c := range best {
			if c.Length == l-2 {
				shorter = append(shorter, c.Text)
			}
		}
		more, err := plan.Close(l, shorter)
		require.NoError(t, err)
		add(more)
	}
	out, err := coverage.New(p, g, m)
	require.NoError(t, err)
	for _, c := range best {
		require.NoError(t, out.Add(c.Turns, c.Change))
	}
	out.Prove(length)
	return out, best
}

func TestDemo(t *testing.T) {
	for _, l := range []int{9, 10} {
		start := time.Now()
		table, best := searched(t, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, l)
		t.Log("search", time.Since(start), len(best))
		start = time.Now()
		rows, err := table.Rows(context.Background())
		require.NoError(t, err)
		t.Log("rows", time.Since(start))
		t.Logf("%+v", coverage.Summarize(rows, l))
		assert.Len(t, rows, 303)
		t.Logf("%+v", rows[0])
	}
}
