package coverage_test

import (
	"context"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/coverage"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/variant"
)

// Corner 3-cycles that are common practice, the last one with a setup that is not needed.
var corners = []string{
	"R' D' R U' R' D R U", "R' F R' B2 R F' R' B2 R2", "R U R' D2 R U' R' D2", "F2 L R U R D2 R' U' R D2 R2 L' F2",
}

// What is added in whatever order, and asked between or not, comes to the same lengths; no
// row ever gets longer.
func TestOrderDoesNotMatter(t *testing.T) {
	p, g := ask(t, "3x3x3", "corner", nil)
	rng := rand.New(rand.NewPCG(4, 2026))
	lengths := map[string]bool{}
	orders := 6
	if testing.Short() {
		orders = 2
	}
	for range orders {
		table, err := coverage.New(p, g, puzzle.OBTM)
		require.NoError(t, err)
		var rows []coverage.Row
		for _, i := range rng.Perm(len(corners)) {
			require.NoError(t, table.Add(parse(t, p, corners[i]), nil))
			if rng.IntN(2) == 0 {
				continue
			}
			now, err := table.Rows(context.Background())
			require.NoError(t, err)
			for k := range rows {
				assert.LessOrEqual(t, now[k].Length, rows[k].Length)
			}
			rows = now
		}
		rows, err = table.Rows(context.Background())
		require.NoError(t, err)
		judged(t, table, rows)
		var text strings.Builder
		for _, row := range rows {
			text.WriteString(string(rune('a' + row.Length)))
		}
		lengths[text.String()] = true
	}
	assert.Len(t, lengths, 1)
}

// A table that keeps several for each class has them in order and different, the
// best one first, and the best is that of a table which keeps one.
func TestSeveralForEachClass(t *testing.T) {
	p, g := ask(t, "3x3x3", "corner", nil)
	b, err := variant.NewBench(p, g, puzzle.OBTM)
	require.NoError(t, err)
	if testing.Short() {
		t.Skip("takes seconds")
	}
	one, several := coverage.On(b, 1), coverage.On(b, 5)
	for _, text := range corners {
		require.NoError(t, one.Add(parse(t, p, text), nil))
		require.NoError(t, several.Add(parse(t, p, text), nil))
	}
	for _, class := range b.Catalog.Classes {
		first, err := one.Best(context.Background(), class.Index)
		require.NoError(t, err)
		list, err := several.Best(context.Background(), class.Index)
		require.NoError(t, err)
		require.Len(t, list, 5)
		assert.Equal(t, first[0].Length, list[0].Length)
		seen := map[string]bool{}
		for i, s := range list {
			assert.NoError(t, b.Verify(s))
			assert.Equal(t, class.Cycle, s.Cycle)
			assert.False(t, seen[b.Text(s)])
			seen[b.Text(s)] = true
			if i > 0 {
				assert.Negative(t, b.Compare(list[i-1], s))
			}
		}
	}
}

func TestNothingKnown(t *testing.T) {
	p, g := ask(t, "3x3x3", "corner", nil)
	table, err := coverage.New(p, g, puzzle.OBTM)
	require.NoError(t, err)
	table.Prove(7)
	table.Prove(3) // less is no news
	rows, err := table.Rows(context.Background())
	require.NoError(t, err)
	got := coverage.Summarize(rows, table.Proven())
	assert.Equal(t, coverage.Summary{Classes: 15, Cycles: 1008, Missing: 15, ProvenLength: 7, Lengths: []int{15}}, got)
	assert.Equal(t, 8, rows[0].AtLeast)

	assert.ErrorIs(t, table.Add(parse(t, p, "R U R' U'"), nil), goal.ErrNotMet)
	assert.ErrorIs(t, table.Add(parse(t, p, "(R U)^150"), nil), variant.ErrTooLong)
	require.NoError(t, table.Add(parse(t, p, corners[0]), nil))
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err = table.Rows(ctx)
	assert.ErrorIs(t, err, context.Canceled)
	rows, err = table.Rows(context.Background())
	require.NoError(t, err)
	assert.Equal(t, 15, coverage.Summarize(rows, 7).Found+coverage.Summarize(rows, 7).BySetup)
	for _, row := range rows {
		if row.How == coverage.Found {
			assert.True(t, row.Proven)
			assert.Equal(t, 8, row.Length)
			assert.Equal(t, corners[0], row.Base)
		} else {
			assert.Equal(t, 8, row.AtLeast, "class %d: %s", row.Class, row.Setup)
			assert.Equal(t, row.Length, notation.Length(p, puzzle.OBTM, parse(t, p, row.Sequence)))
		}
	}
}
