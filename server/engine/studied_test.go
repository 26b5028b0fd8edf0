package engine

import (
	"context"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
	"turnwright/search/study"
	"turnwright/storage"
)

// unitLeaves is what a unit looks up here.
const unitLeaves = 20_000_000

// studying asks for a solution of the 3x3x3 to be shortened; its definition is the builder's.
func studying(scramble, solution string, units int) storage.Spec {
	return storage.Spec{
		Metric: "obtm", Memory: 1 << 20,
		Study: &storage.Study{Scramble: scramble, Solution: solution, Units: units, Leaves: unitLeaves, Seed: 3},
	}
}

// What a unit reports of a shorter solution is carried out anew before it is taken.
func TestWhatAStudyReports(t *testing.T) {
	e, err := New(builtin{}, studying("R U F", "F' U' U U2 U R' L L' R U2 U2 R'", 2*study.RoundUnits+1))
	require.NoError(t, err)
	plan, stages := e.Plan(1)
	units := 2*study.RoundUnits + 1
	assert.Equal(t, storage.LengthPlan{Length: 1, Leaves: uint64(units) * unitLeaves, Units: units, Unproven: true}, plan)
	assert.Equal(t, []Stage{{First: 0, Last: 8}, {First: 8, Last: 16}, {First: 16, Last: 17}}, stages)
	require.Len(t, e.Tables(), 1)
	assert.Equal(t, []int{0}, e.Needs(1, 5))

	good := Report{Length: 1, Index: 8, Covered: unitLeaves, Found: []Found{{Text: "F' U' R'", Change: "2", Structure: "merging"}}}
	unit, err := e.Accept(good)
	require.NoError(t, err)
	assert.Equal(t, []storage.Finding{{
		ID: "r2", Class: 2, Size: 1, Change: "2", Text: "F' U' R'", Length: 3, Axes: 3, Structure: "merging",
	}}, unit.Found)

	for name, spoil := range map[string]func(*Report){
		"looked up less":  func(r *Report) { r.Covered-- },
		"ended early":     func(r *Report) { r.Short = true },
		"another length":  func(r *Report) { r.Length = 2 },
		"no such unit":    func(r *Report) { r.Index = units },
		"before all":      func(r *Report) { r.Index = -1 },
		"another round":   func(r *Report) { r.Index = 0 },
		"solves nothing":  func(r *Report) { r.Found[0].Text = "F' U' R" },
		"no end of it":    func(r *Report) { r.Found[0].Text += strings.Repeat(" x x'", 1000) },
		"no turns":        func(r *Report) { r.Found[0].Text = "" },
		"no shorter":      func(r *Report) { r.Found[0].Text = "F' U' U U2 U R' L L' R U2 U2 R'" },
		"a comment":       func(r *Report) { r.Found[0].Text += " // mine" },
		"not a turn":      func(r *Report) { r.Found[0].Text = "Q" },
		"no round":        func(r *Report) { r.Found[0].Change = "" },
		"round 0":         func(r *Report) { r.Found[0].Change = "0" },
		"a later round":   func(r *Report) { r.Found[0].Change = "3" },
		"round 02":        func(r *Report) { r.Found[0].Change = "02" },
		"no word":         func(r *Report) { r.Found[0].Structure = "" },
		"not a word":      func(r *Report) { r.Found[0].Structure = "<b>" },
		"several at once": func(r *Report) { r.Found = append(r.Found, r.Found[0]) },
	} {
		bad := good
		bad.Found = slices.Clone(good.Found)
		spoil(&bad)
		_, err := e.Accept(bad)
		assert.Error(t, err, name)
	}

	c := e.(Continuer)
	assert.True(t, c.Continues(1, 8, storage.Finding{Class: 1}))
	assert.False(t, c.Continues(1, 8, storage.Finding{Class: 2}), "its own round")
	assert.False(t, c.Continues(1, 7, storage.Finding{Class: 1}))

	assert.False(t, e.Enough(storage.Search{}))
	now := storage.Search{Progress: storage.Progress{Lengths: []storage.Length{{LengthPlan: plan}}}}
	assert.False(t, e.Enough(now))
	now.Lengths[0].Done, now.Lengths[0].Covered = plan.Units, plan.Leaves
	assert.True(t, e.Enough(now))
}

// A unit goes on from what it is given, lets others go between, and ends with its context.
func TestAUnitOfAStudy(t *testing.T) {
	spec := studying("R U F2 R'", "R U2 R' R U2 R' R F2 U' R'", 2*study.RoundUnits)
	e, err := New(twos{}, spec)
	require.NoError(t, err)
	content, err := e.Tables()[0].Build(t.Context(), 1, func(uint64) {})
	require.NoError(t, err)
	var told storage.Tables
	e.Note(&told, 0, content)
	assert.Equal(t, 1, told.Count)
	assert.Positive(t, told.Words)

	breaths := 0
	w := Work{Length: 1, Index: 0, Tables: []Content{content}, Progress: func(n uint64) { breaths++; assert.Zero(t, n) }}
	first, err := e.Run(t.Context(), w)
	require.NoError(t, err)
	assert.Greater(t, breaths, 10)
	require.Len(t, first.Found, 1)
	unit, err := e.Accept(first)
	require.NoError(t, err)
	assert.Equal(t, 4, unit.Found[0].Length)

	w.Index, w.From = study.RoundUnits, first.Found[0].Text
	second, err := e.Run(t.Context(), w)
	require.NoError(t, err)
	assert.Empty(t, second.Found, "nothing is shorter")
	_, err = e.Accept(second)
	require.NoError(t, err)

	ctx, stop := context.WithCancel(t.Context())
	w.Progress = func(uint64) { stop() }
	_, err = e.Run(ctx, w)
	require.ErrorIs(t, err, context.Canceled)
	w.Index = 2 * study.RoundUnits
	_, err = e.Run(t.Context(), w)
	require.Error(t, err)
}

type twos struct{}

func (twos) Build(string) (*puzzle.Puzzle, error) { return puzzle.Find("2x2x2") }

func TestStudiesThatCantBePlanned(t *testing.T) {
	for name, change := range map[string]func(*storage.Spec){
		"metric":   func(s *storage.Spec) { s.Metric = "htm" },
		"scramble": func(s *storage.Spec) { s.Study.Scramble = "(" },
		"nothing":  func(s *storage.Spec) { s.Study.Solution = "" },
		"unsolved": func(s *storage.Spec) { s.Study.Solution = "R" },
		"no work":  func(s *storage.Spec) { s.Study.Leaves = 0 },
		"no units": func(s *storage.Spec) { s.Study.Units = 0 },
		"memory":   func(s *storage.Spec) { s.Memory = 10 },
	} {
		s := studying("R U", "U' R'", 1)
		change(&s)
		_, err := New(builtin{}, s)
		assert.Error(t, err, name)
	}
}
