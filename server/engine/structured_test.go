package engine

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/storage"
)

// What a unit with a structure reports is worked out anew before it is taken.
func TestWhatAStructureReports(t *testing.T) {
	spec := storage.Spec{
		Cycle: "corner", Metric: "obtm", Max: 9, Structure: &storage.Structure{X: 3, Y: 1, Setup: 1},
	}
	e, err := New(builtin{}, spec)
	require.NoError(t, err)
	assert.Empty(t, e.Tables())
	plan, stages := e.Plan(1)
	assert.Equal(t, storage.LengthPlan{Length: 1, Leaves: plan.Leaves, Units: 1, Unproven: true}, plan)
	assert.Equal(t, []Stage{{First: 0, Last: 1}}, stages)
	good, err := e.Run(t.Context(), Work{Length: 1})
	require.NoError(t, err)
	assert.Equal(t, plan.Leaves, good.Covered)
	unit, err := e.Accept(good)
	require.NoError(t, err)
	require.NotEmpty(t, unit.Found)
	for _, f := range unit.Found {
		assert.NotEmpty(t, f.Structure)
		assert.LessOrEqual(t, f.Length, 9)
		assert.Positive(t, f.Class)
	}

	for name, spoil := range map[string]func(*Report){
		"fewer pairs":       func(r *Report) { r.Covered-- },
		"ended early":       func(r *Report) { r.Short = true },
		"another length":    func(r *Report) { r.Length = 2 },
		"no such unit":      func(r *Report) { r.Index = 1 },
		"another sequence":  func(r *Report) { r.Found[0].Text = r.Found[1].Text },
		"another structure": func(r *Report) { r.Found[0].Structure = r.Found[1].Structure },
		"no structure":      func(r *Report) { r.Found[0].Structure = "" },
		"another change":    func(r *Report) { r.Found[0].Change = r.Found[1].Change },
		"no change":         func(r *Report) { r.Found[0].Change = "" },
	} {
		bad := good
		bad.Found = append([]Found(nil), good.Found...)
		spoil(&bad)
		_, err := e.Accept(bad)
		assert.Error(t, err, name)
	}

	assert.False(t, e.Enough(storage.Search{}))
	now := storage.Search{Progress: storage.Progress{Lengths: []storage.Length{{LengthPlan: plan}}}}
	assert.False(t, e.Enough(now))
	now.Lengths[0].Done, now.Lengths[0].Covered = plan.Units, plan.Leaves
	assert.True(t, e.Enough(now))
}
