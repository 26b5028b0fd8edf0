package solve_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/solve"
)

// hard is a question with some thousand nodes, and one solution at least.
func hard(t require.TestingT, length int) (*solve.Plan, []*pattern.Table) {
	p := find(t, "cube-3")
	turns := parse(t, p, "R2 F' D L' U2 B R D' F2 L")[:length]
	return prepare(t, solve.Question{Puzzle: p, Metric: puzzle.OBTM, Start: turns, Max: 20, Memory: 1 << 20})
}

// However a length is cut up, the same words are looked at, and the same found.
func TestCuttingALength(t *testing.T) {
	plan, tables := hard(t, 7)
	whole := plan.Units(7)
	require.Len(t, whole, 1)
	want, err := plan.Run(context.Background(), whole[0], tables, nil)
	require.NoError(t, err)
	require.NotEmpty(t, want.Solutions)
	require.NotZero(t, want.Nodes)
	for _, parts := range []int{1, 2, 7, 64} {
		var got solve.Report
		for i := range parts {
			part := whole[0]
			part.First, part.Last = whole[0].Last*i/parts, whole[0].Last*(i+1)/parts
			told := uint64(0)
			r, err := plan.Run(context.Background(), part, tables, func(n uint64) { told += n })
			require.NoError(t, err)
			assert.Equal(t, r.Nodes, told)
			got.Nodes += r.Nodes
			got.Solutions = append(got.Solutions, r.Solutions...)
		}
		assert.Equal(t, want, got, "%d parts", parts)
	}
}

// Units of a length follow one another without a gap, and there are many where there is much to do.
func TestUnits(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	plan, _ := hard(t, 7)
	for length := 0; length <= 20; length++ {
		last := 0
		units := plan.Units(length)
		for i, u := range units {
			assert.Equal(t, i, u.Index)
			assert.Equal(t, length, u.Length)
			assert.Equal(t, last, u.First)
			assert.Greater(t, u.Last, u.First)
			last = u.Last
		}
		if length == 20 {
			assert.Greater(t, len(units), 1000)
		}
	}
}

func TestRunRefuses(t *testing.T) {
	plan, tables := hard(t, 7)
	_, err := plan.Run(context.Background(), solve.Unit{Length: 3, Last: 1 << 30}, tables, nil)
	assert.ErrorContains(t, err, "not of this plan")
	_, err = plan.Run(context.Background(), solve.Unit{Length: 3}, tables[1:], nil)
	assert.ErrorContains(t, err, "the plan needs")
	_, err = plan.Solve(context.Background(), append(tables[1:len(tables):len(tables)], tables[0]), 1, nil)
	assert.ErrorContains(t, err, "is not that of the plan")
	for _, q := range []solve.Question{{Max: -1}, {Max: 41}, {Memory: -1}, {Limit: -1}} {
		q.Puzzle = find(t, "cube-3")
		_, err := solve.NewPlan(q)
		assert.Error(t, err)
	}
}

func TestCancel(t *testing.T) {
	plan, tables := hard(t, 10)
	ctx, cancel := context.WithCancel(context.Background())
	calls := 0
	_, err := plan.Solve(ctx, tables, 2, func(int, uint64) {
		calls++
		cancel()
	})
	assert.ErrorIs(t, err, context.Canceled)
	assert.LessOrEqual(t, calls, 6, "a few thousand nodes after the call")
}

// The loop itself allocates nothing: a search ten times as long does no more.
func TestNoAllocations(t *testing.T) {
	plan, tables := hard(t, 10)
	allocations := func(length int) float64 {
		u := plan.Units(length)[0]
		return testing.AllocsPerRun(1, func() {
			_, err := plan.Run(context.Background(), u, tables, nil)
			require.NoError(t, err)
		})
	}
	assert.InDelta(t, allocations(8), allocations(9), 30)
}

// BenchmarkNodes is one length of a search on one core, in millions of nodes a
// second, with the tables for 96 MB.
func BenchmarkNodes(b *testing.B) {
	p := find(b, "cube-3")
	turns := parse(b, p, "R2 F' D L' U2 B R D' F2 L U' B2 D R' U F2")
	plan, tables := prepare(b, solve.Question{Puzzle: p, Metric: puzzle.OBTM, Start: turns, Max: 20, Memory: 96 << 20})
	u := plan.Units(14)[0]
	nodes := uint64(0)
	b.ReportAllocs()
	for b.Loop() {
		r, err := plan.Run(context.Background(), u, tables, nil)
		require.NoError(b, err)
		nodes += r.Nodes
	}
	b.ReportMetric(float64(nodes)/b.Elapsed().Seconds()/1e6, "Mnodes/s")
}
