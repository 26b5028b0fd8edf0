package deepen_test

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/deepen"
	"turnwright/search/goal"
	"turnwright/search/puzzle"
	"turnwright/search/table"
)

// question asks as the server does where nobody says otherwise: with nothing ignored, the
// core is kept.
func question(t require.TestingT, name, cycle string, ignore []string, m puzzle.Metric, most int) deepen.Question {
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	g, err := goal.New(p, cycle, nil, ignore)
	require.NoError(t, err)
	return deepen.Question{Puzzle: p, Goal: g, Metric: m, Max: most, KeepCore: ignore == nil}
}

func prepare(t require.TestingT, q deepen.Question) (*deepen.Plan, []*table.Near) {
	plan, err := deepen.NewPlan(q)
	require.NoError(t, err)
	var tables []*table.Near
	for _, spec := range plan.Tables() {
		near, err := table.Build(context.Background(), spec, 2, nil)
		require.NoError(t, err)
		tables = append(tables, near)
	}
	return plan, tables
}

// However a length is cut, the same words are covered and the same classes
// found, at the same lengths.
func TestAnyCutOfALengthCoversTheSame(t *testing.T) {
	plan, tables := prepare(t, question(t, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, 8))
	run := func(cuts []int) (leaves uint64, lengths map[uint64]int) {
		lengths = map[uint64]int{}
		for i := range len(cuts) - 1 {
			u := deepen.Unit{Length: 8, First: cuts[i], Last: cuts[i+1]}
			report, err := plan.Run(context.Background(), u, tables[0], nil)
			require.NoError(t, err)
			leaves += report.Leaves
			for _, c := range report.Found {
				if old, ok := lengths[c.Key]; !ok || c.Length < old {
					lengths[c.Key] = c.Length
				}
			}
		}
		return leaves, lengths
	}
	units := plan.Units(8)
	prefixes := units[len(units)-1].Last
	leaves, lengths := run([]int{0, prefixes})
	require.Equal(t, plan.Leaves(8), leaves)
	require.NotEmpty(t, lengths)
	for _, parts := range []int{2, 7, 64} {
		cuts := []int{0}
		for i := 1; i <= parts; i++ {
			cuts = append(cuts, prefixes*i/parts)
		}
		l, c := run(cuts)
		assert.Equal(t, leaves, l)
		assert.Equal(t, lengths, c)
	}
}

func TestAUnitStopsWithItsContext(t *testing.T) {
	q := question(t, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, 11)
	q.Memory = 4 << 20 // a small table will do
	plan, tables := prepare(t, q)
	ctx, cancel := context.WithCancel(context.Background())
	told := uint64(0)
	report, err := plan.Run(ctx, plan.Units(11)[0], tables[0], func(n uint64) {
		told += n
		cancel()
	})
	require.ErrorIs(t, err, context.Canceled)
	assert.Zero(t, report.Leaves, "what was not finished is not reported")
	assert.Less(t, told, uint64(2<<20), "it polls every quarter of a million words or so")
	_, err = plan.Run(ctx, plan.Units(11)[0], tables[0], nil)
	require.ErrorIs(t, err, context.Canceled)
}

func TestUnitsOfAnotherPlanAreRefused(t *testing.T) {
	plan, tables := prepare(t, question(t, "3x3x3", "edge", []string{"corner"}, puzzle.OBTM, 5))
	for _, u := range []deepen.Unit{{Length: 5, Pass: 9}, {Length: 5, First: -1}, {Length: 5, First: 3, Last: 2}, {Length: 5, Last: 1 << 30}} {
		_, err := plan.Run(context.Background(), u, tables[0], nil)
		assert.ErrorContains(t, err, "not of this plan")
	}
}

func TestVerifyRefusesWhatIsNotSo(t *testing.T) {
	q := question(t, "3x3x3", "corner", nil, puzzle.OBTM, 8)
	all, _ := finish(t, q)
	var good deepen.Candidate
	for _, good = range all {
		if good.Length == 8 {
			break
		}
	}
	require.NoError(t, deepen.Verify(q, good))
	for what, change := range map[string]func(c *deepen.Candidate){
		"another text":     func(c *deepen.Candidate) { c.Text = "R U R' U'" },
		"one turn more":    func(c *deepen.Candidate) { c.Text += " R" },
		"no sequence":      func(c *deepen.Candidate) { c.Text = "R U (" },
		"another length":   func(c *deepen.Candidate) { c.Length = 7 },
		"the other way":    func(c *deepen.Candidate) { c.Change = c.Change.Inverse(&q.Puzzle.Types[q.Goal.Cycle]) },
		"another cycle":    func(c *deepen.Candidate) { c.Change = slices.Clone(c.Change); c.Change[0].From += 3 },
		"nothing":          func(c *deepen.Candidate) { c.Text = "" },
		"a rotation added": func(c *deepen.Candidate) { c.Text += " x U" },
	} {
		bad := good
		change(&bad)
		assert.Error(t, deepen.Verify(q, bad), what)
	}
	turned := good
	turned.Text += " x" // held another way, which changes nothing
	assert.NoError(t, deepen.Verify(q, turned))
}

// Every pinned finding does what the pins ask, and for every class that has a
// cycle which matches there is one, no longer than the class's shortest.
func TestPinsPickFromTheClasses(t *testing.T) {
	q := question(t, "3x3x3", "edge", []string{"corner"}, puzzle.OBTM, 6)
	q.Plain = true
	free, plan := finish(t, q)
	labels := q.Puzzle.Types[q.Goal.Cycle].Labels
	rapid.Check(t, func(rt *rapid.T) {
		pinned := q
		from := rapid.IntRange(0, len(labels)-1).Draw(rt, "from")
		to := rapid.IntRange(0, len(labels)-1).Draw(rt, "to")
		if err := pinned.Goal.Pin(q.Puzzle, labels[from], labels[to]); err != nil {
			rt.Skip("a place can't go to itself")
		}
		got, with := finish(t, pinned)
		want := map[uint64]int{}
		for _, key := range plan.Catalog.Matching(pinned.Goal.Pins) {
			cycle := goal.Cycle{int(key >> 20), int(key >> 10 & 1023), int(key & 1023)}
			if c, ok := free[uint64(plan.Catalog.ClassOf(cycle))]; ok {
				want[uint64(key)] = c.Length
			}
		}
		lengths := map[uint64]int{}
		for key, c := range got {
			lengths[key] = c.Length
			assert.True(rt, with.Catalog.Meets(goal.Cycle(c.Change.Cycles(&q.Puzzle.Types[q.Goal.Cycle])[0]), pinned.Goal.Pins))
		}
		assert.Equal(rt, want, lengths)
	})
}

func TestQuestionsThatCantBeAnswered(t *testing.T) {
	q := question(t, "3x3x3", "edge", nil, puzzle.OBTM, 5)
	for what, change := range map[string]func(q *deepen.Question){
		"use 1 to 40":   func(q *deepen.Question) { q.Max = 0 },
		"length 41":     func(q *deepen.Question) { q.Max = 41 },
		"memory of":     func(q *deepen.Question) { q.Memory = -1 },
		"hold no table": func(q *deepen.Question) { q.Memory = 10 },
	} {
		bad := q
		change(&bad)
		_, err := deepen.NewPlan(bad)
		assert.ErrorContains(t, err, what)
	}
}
