package isolate_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/isolate"
	"turnwright/search/puzzle"
)

// runAll runs the units and keeps the best for each class.
func runAll(t *testing.T, p *isolate.Plan, units []isolate.Unit) map[uint64]isolate.Candidate {
	best := map[uint64]isolate.Candidate{}
	for _, u := range units {
		told := uint64(0)
		r, err := p.Run(t.Context(), u, func(n uint64) { told += n })
		require.NoError(t, err)
		require.Equal(t, u.Pairs, r.Pairs)
		require.Equal(t, u.Pairs, told)
		for _, c := range r.Found {
			if old, ok := best[c.Key]; !ok || c.Better(old) {
				best[c.Key] = c
			}
		}
	}
	return best
}

// However a job is cut, the same is tried and found.
func TestUnitsHoweverCut(t *testing.T) {
	b, _, _ := bench(t, "3x3x3", "corner", nil, puzzle.OBTM, isolate.Options{})
	p, err := b.Plan(isolate.Job{X: 3, Y: 1, Setup: 1})
	require.NoError(t, err)
	units := p.Units()
	require.Len(t, units, 1)
	whole := runAll(t, p, units)
	sizes := []int{1, 7}
	if testing.Short() {
		sizes = []int{64}
	}
	for _, size := range sizes {
		var cut []isolate.Unit
		for first := 0; first < units[0].Last; first += size {
			u := isolate.Unit{Index: len(cut), First: first, Last: min(first+size, units[0].Last)}
			u.Pairs = p.Pairs(u)
			cut = append(cut, u)
		}
		assert.Equal(t, whole, runAll(t, p, cut))
	}
}

// With setups every corner 3-cycle of the 3x3x3 is reached. How many classes there
// are is the catalogue's to say.
func TestSetupsReachMore(t *testing.T) {
	b, _, _ := bench(t, "3x3x3", "corner", nil, puzzle.OBTM, isolate.Options{})
	var reached []int
	for setup := range 3 {
		p, err := b.Plan(isolate.Job{X: 3, Y: 1, Setup: setup})
		require.NoError(t, err)
		best := runAll(t, p, p.Units())
		for _, c := range best {
			assert.LessOrEqual(t, len(c.Setup), setup)
			require.NoError(t, b.Verify(c))
		}
		reached = append(reached, len(best))
	}
	assert.IsIncreasing(t, reached[:2])
	assert.GreaterOrEqual(t, reached[2], reached[1])
}

// Commutators of commutators: [[X, Y], Z].
func TestNested(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds under the race detector")
	}
	b, _, _ := bench(t, demo, "triangle", nil, puzzle.STM, isolate.Options{})
	p, err := b.Plan(isolate.Job{X: 2, Y: 1, Z: 1})
	require.NoError(t, err)
	best := runAll(t, p, p.Units())
	require.NotEmpty(t, best)
	for _, c := range best {
		assert.NotEmpty(t, c.Z)
		require.NoError(t, b.Verify(c))
	}
}

// A search yields what its units find, and stops when it is told to.
func TestSearch(t *testing.T) {
	b, _, _ := bench(t, "3x3x3", "edge", []string{"corner"}, puzzle.STM, isolate.Options{})
	p, err := b.Plan(isolate.Job{X: 2, Y: 1, Setup: 1})
	require.NoError(t, err)
	want := runAll(t, p, p.Units())
	got := map[uint64]isolate.Candidate{}
	require.NoError(t, p.Search(t.Context(), func(c isolate.Candidate) bool {
		if old, ok := got[c.Key]; ok {
			require.True(t, c.Better(old))
		}
		got[c.Key] = c
		return true
	}))
	assert.Equal(t, want, got)
	n := 0
	require.NoError(t, p.Search(t.Context(), func(isolate.Candidate) bool { n++; return n < 2 }))
	assert.Equal(t, 2, n)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, p.Search(ctx, func(isolate.Candidate) bool { return true }), context.Canceled)
}

// Of what a unit found only structure, text and change have to be told.
func TestRecount(t *testing.T) {
	for _, c := range []struct {
		puzzle, cycle, shape string
		ignore               []string
		metric               puzzle.Metric
		job                  isolate.Job
	}{
		{"3x3x3", "edge", "3", []string{"corner"}, puzzle.STM, isolate.Job{X: 1, Y: 1, Z: 1, Setup: 1, Max: 12}},
		{"3x3x3", "corner", "2+2", []string{"edge"}, puzzle.OBTM, isolate.Job{X: 1, Y: 1, Z: 1}},
		{"tetrahedron", "edge", "3", nil, puzzle.QTM, isolate.Job{X: 2, Y: 1, Setup: 1}},
		{"shallow-cut-dodecahedron", "corner", "3", []string{"edge", "centre"}, puzzle.STM, isolate.Job{X: 2, Y: 1, Z: 1}}, // turns that commute
	} {
		b := shapeBench(t, c.puzzle, c.cycle, c.shape, c.ignore, c.metric)
		job := c.job
		p, err := b.Plan(job)
		require.NoError(t, err)
		found := runAll(t, p, p.Units())
		require.NotEmpty(t, found, c.puzzle)
		for _, f := range found {
			got, err := p.Recount(f.Structure, f.Text, f.Change)
			require.NoError(t, err)
			f.Setup, f.X, f.Y, f.Z, f.Parts, f.SetupLength = nil, nil, nil, nil, 0, 0
			require.Equal(t, f, got)
			_, err = p.Recount(f.Structure, f.Text, f.Change[1:])
			require.Error(t, err)
			_, err = p.Recount("[R, R]", f.Text, f.Change)
			require.Error(t, err)
			_, err = p.Recount(f.Structure, "", f.Change)
			require.Error(t, err)
		}
		for _, f := range found {
			job.Max = f.Length - 1
			p, err := b.Plan(job)
			require.NoError(t, err)
			_, err = p.Recount(f.Structure, f.Text, f.Change)
			require.ErrorContains(t, err, "is wanted")
			break
		}
	}
}

// Of two candidates the one of shorter turns is first, then of fewer axes, of shorter
// parts, of shorter text, then by text.
func TestBefore(t *testing.T) {
	ranked := []isolate.Candidate{
		{Length: 8, Axes: 3, Parts: 9, Structure: "[R, U]"},
		{Length: 9, Axes: 2, Parts: 9, Structure: "[R, U]"},
		{Length: 9, Axes: 3, Parts: 3, Structure: "[R2, U2]"},
		{Length: 9, Axes: 3, Parts: 4, Structure: "[R, U]"},
		{Length: 9, Axes: 3, Parts: 4, Structure: "[R', U]"},
		{Length: 9, Axes: 3, Parts: 4, Structure: "[U', R]"},
	}
	for i, c := range ranked {
		for j, d := range ranked {
			assert.Equal(t, i < j, c.Before(d), "%d %d", i, j)
		}
	}
}

// As findings the simplest parts do not matter, the text that people do does.
func TestBetter(t *testing.T) {
	ranked := []isolate.Candidate{
		{Length: 8, Axes: 3, Text: "U R", Structure: "[R, U]"},
		{Length: 9, Axes: 2, Text: "U R", Structure: "[R, U]"},
		{Length: 9, Axes: 3, Parts: 9, Text: "U R", Structure: "[R, U, U']"},
		{Length: 9, Axes: 3, Parts: 3, Text: "U R2", Structure: "[R, U]"},
		{Length: 9, Axes: 3, Parts: 3, Text: "U R2", Structure: "[U, R]"},
		{Length: 9, Axes: 3, Parts: 3, Text: "U R2", Structure: "[U, R2]"},
		{Length: 9, Axes: 3, Parts: 3, Text: "U2 R", Structure: "[U, R]"},
	}
	for i, c := range ranked {
		for j, d := range ranked {
			assert.Equal(t, i < j, c.Better(d), "%d %d", i, j)
		}
	}
}

// Nothing is longer than its form allows; with a greatest length of what is kept, just what
// is longer is missing.
func TestTheGreatestLength(t *testing.T) {
	b, _, _ := bench(t, "tetrahedron", "edge", []string{"corner"}, puzzle.STM, isolate.Options{})
	run := func(j isolate.Job) map[uint64]isolate.Candidate {
		p, err := b.Plan(j)
		require.NoError(t, err)
		total := uint64(0)
		for _, u := range p.Units() {
			total += u.Pairs
		}
		require.Equal(t, p.Total(), total)
		return runAll(t, p, p.Units())
	}
	for _, j := range []isolate.Job{{X: 1, Y: 1}, {X: 2, Y: 1, Setup: 2}, {X: 2, Y: 1, Z: 1, Setup: 1}} {
		all := run(j)
		longest := 0
		for _, c := range all {
			longest = max(longest, c.Length)
		}
		require.LessOrEqual(t, longest, j.Longest())
		for j.Max = longest; j.Max > 0; j.Max-- {
			want := map[uint64]isolate.Candidate{}
			for key, c := range all {
				if c.Length <= j.Max {
					want[key] = c
				}
			}
			require.Equal(t, want, run(j))
		}
	}
}

func TestRunEndsWithItsContext(t *testing.T) {
	b, _, _ := bench(t, demo, "triangle", nil, puzzle.STM, isolate.Options{})
	p, err := b.Plan(isolate.Job{X: 4, Y: 1, Z: 1})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	u := p.Units()[0]
	r, err := p.Run(ctx, u, func(uint64) { cancel() })
	require.ErrorIs(t, err, context.Canceled)
	assert.Less(t, r.Pairs, u.Pairs)
}

func TestJobsThatAreRefused(t *testing.T) {
	b, _, _ := bench(t, demo, "triangle", nil, puzzle.STM, isolate.Options{})
	for _, j := range []isolate.Job{{}, {X: 1}, {X: 13, Y: 1}, {X: 4, Y: 1, Z: -1}, {X: 4, Y: 4}, {X: 1, Y: 1, Setup: 9}} {
		_, err := b.Plan(j)
		assert.Error(t, err, "%v", j)
	}
}

// Nothing is found about axes that the goal does not allow, and something is about those that
// it does.
func TestOnlyTheAxesAllowed(t *testing.T) {
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	_, _, g := bench(t, "3x3x3", "edge", []string{"corner"}, puzzle.STM, isolate.Options{})
	require.NoError(t, g.Turn(p, "R", "U"))
	b, err := isolate.New(p, g, puzzle.STM, isolate.Options{})
	require.NoError(t, err)
	list, err := b.Ranked(t.Context(), 3, 1, 1000)
	require.NoError(t, err)
	require.NotEmpty(t, list)
	for _, c := range list {
		require.NoError(t, b.Verify(c))
	}
	free, _, _ := bench(t, "3x3x3", "edge", []string{"corner"}, puzzle.STM, isolate.Options{})
	more, err := free.Ranked(t.Context(), 3, 1, 1000)
	require.NoError(t, err)
	assert.Greater(t, len(more), len(list))
}
