package engine

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
	"turnwright/storage"
)

// builtin builds the 3x3x3, whatever the definition.
type builtin struct{}

func (builtin) Build(string) (*puzzle.Puzzle, error) { return puzzle.Find("3x3x3") }

func positionOf(t *testing.T, spec storage.Spec) *position {
	t.Helper()
	e, err := New(builtin{}, spec)
	require.NoError(t, err)
	return e.(*position)
}

func spec(each int, all bool) storage.Spec {
	return storage.Spec{
		Metric: "obtm", Max: 20, Memory: 1 << 19, Each: each,
		Position: &storage.Position{Scramble: "R2 F2 U2 R2", All: all},
	}
}

// The stages of a length are all its units, in order, and no plan is made twice differently.
func TestWavesCoverALength(t *testing.T) {
	p := positionOf(t, spec(1, false))
	for _, length := range []int{1, 9, 14, 16} {
		plan, stages := p.Plan(length)
		assert.True(t, plan.Open)
		next := 0
		for _, s := range stages {
			assert.Equal(t, next, s.First)
			assert.Greater(t, s.Last, s.First)
			assert.LessOrEqual(t, s.Last-s.First, mostWave)
			next = s.Last
		}
		assert.Equal(t, plan.Units, next)
		again, _ := positionOf(t, spec(1, false)).Plan(length)
		assert.Equal(t, plan, again)
	}
}

// A search is over with as many solutions as are wanted, or with fewer once their
// length is finished; never without one.
func TestEnough(t *testing.T) {
	now := func(findings, proven, lengths int) storage.Search {
		return storage.Search{Progress: storage.Progress{Findings: findings, Proven: proven, Lengths: make([]storage.Length, lengths)}}
	}
	for _, c := range []struct {
		spec storage.Spec
		now  storage.Search
		want bool
	}{
		{spec(1, false), now(0, 4, 4), false},
		{spec(1, false), now(1, 3, 4), true},
		{spec(3, false), now(2, 3, 4), false},
		{spec(3, false), now(2, 4, 4), true},
		{spec(3, false), now(3, 3, 4), true},
		{spec(0, true), now(999, 3, 4), false},
		{spec(0, true), now(999, 4, 4), true},
		{spec(0, true), now(1000, 3, 4), true},
	} {
		assert.Equal(t, c.want, positionOf(t, c.spec).Enough(c.now), "%+v %+v", c.spec.Position, c.now.Progress)
	}
}

// A unit with as many solutions as are wanted ends early and says so; where all are
// wanted each has a name of its own.
func TestWhatAUnitReports(t *testing.T) {
	report := func(s storage.Spec) storage.Unit {
		p := positionOf(t, s)
		var tables []Content
		for _, table := range p.Tables() {
			content, err := table.Build(t.Context(), 2, func(uint64) {})
			require.NoError(t, err)
			tables = append(tables, content)
		}
		plan, _ := p.Plan(4)
		require.Equal(t, 1, plan.Units)
		report, err := p.Run(context.Background(), Work{Length: 4, Index: 0, Tables: tables})
		require.NoError(t, err)
		u, err := p.Accept(report)
		require.NoError(t, err)
		return u
	}
	one := report(spec(1, false))
	assert.True(t, one.Short)
	require.Len(t, one.Found, 1)
	assert.Equal(t, "best", one.Found[0].ID)
	assert.Equal(t, 3, one.Found[0].Axes)

	all := report(spec(0, true))
	assert.False(t, all.Short)
	assert.Greater(t, all.Leaves, one.Leaves)
	ids := map[string]bool{}
	for _, f := range all.Found {
		ids[f.ID] = true
		assert.Equal(t, 4, f.Length)
	}
	assert.Len(t, ids, len(all.Found))
}
