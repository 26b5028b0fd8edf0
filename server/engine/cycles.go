package engine

import (
	"context"
	"errors"
	"fmt"

	"turnwright/search/deepen"
	"turnwright/search/goal"
	"turnwright/search/table"
	"turnwright/storage"
)

// cycles is the engine of searches for cycles. The units of one table are a
// stage; one more unit closes the length with what follows from shorter findings.
type cycles struct {
	plan   *deepen.Plan
	tables []Table
	units  lengths[deepen.Unit]
}

func newCycles(b Builder, spec storage.Spec) (*cycles, error) {
	q, err := Question(b, spec)
	if err != nil {
		return nil, err
	}
	plan, err := deepen.NewPlan(q)
	if err != nil {
		return nil, err
	}
	c := &cycles{plan: plan, units: lengths[deepen.Unit]{cut: plan.Units}}
	for _, spec := range plan.Tables() {
		c.tables = append(c.tables, nearTable(spec))
	}
	return c, nil
}

func (c *cycles) AtOnce() ([]storage.Finding, error) { return nil, nil }

func (c *cycles) Tables() []Table { return c.tables }

func (c *cycles) Note(out *storage.Tables, i int, t Content) {
	out.Count++
	out.Words += uint64(t.(*table.Near).Len())
	out.Bytes += c.tables[i].Bytes
}

func (c *cycles) Plan(length int) (storage.LengthPlan, []Stage) {
	units := c.units.of(length)
	var stages []Stage
	for i, u := range units {
		if i == 0 || u.Pass != units[i-1].Pass {
			stages = append(stages, Stage{First: i})
		}
		stages[len(stages)-1].Last = i + 1
	}
	closing := len(units)
	stages = append(stages, Stage{First: closing, Last: closing + 1, Local: true})
	return storage.LengthPlan{
		Length: length,
		Words:  c.plan.Words(length).String(),
		Leaves: c.plan.Leaves(length),
		Units:  closing + 1,
	}, stages
}

func (c *cycles) Needs(length, index int) []int {
	if units := c.units.of(length); index >= 0 && index < len(units) {
		return []int{units[index].Pass}
	}
	return nil
}

func (c *cycles) Run(ctx context.Context, w Work) (Report, error) {
	out := Report{Length: w.Length, Index: w.Index}
	units := c.units.of(w.Length)
	var found []deepen.Candidate
	switch {
	case w.Index < 0 || w.Index > len(units):
		return out, notOfThisPlan(w.Length, w.Index)
	case w.Index == len(units): // it closes the length with what follows from findings two shorter
		shorter, err := w.Known(ctx, w.Length-2)
		if err != nil {
			return out, err
		}
		if found, err = c.plan.Close(w.Length, shorter); err != nil {
			return out, err
		}
	default:
		u := units[w.Index]
		report, err := c.plan.Run(ctx, u, w.Tables[u.Pass].(*table.Near), w.Progress)
		if err != nil {
			return out, err
		}
		out.Covered, found = report.Leaves, report.Found
	}
	for _, f := range found {
		out.Found = append(out.Found, Found{Text: f.Text, Change: f.Change.String()})
	}
	return out, nil
}

func (c *cycles) Accept(r Report) (storage.Unit, error) {
	out := storage.Unit{Length: r.Length, Index: r.Index, Leaves: r.Covered}
	units := c.units.of(r.Length)
	predicted := uint64(0) // of the unit that closes a length
	switch {
	case r.Index < 0 || r.Index > len(units):
		return out, notOfThisPlan(r.Length, r.Index)
	case r.Index < len(units):
		predicted = units[r.Index].Leaves
	}
	if r.Covered != predicted || r.Short {
		return out, errors.New("a unit covered other words than predicted: the proof would be void")
	}
	for _, f := range r.Found {
		found, err := c.Finding(f)
		if err != nil {
			return out, err
		}
		if most := c.plan.Question.Max; found.Length > most {
			return out, fmt.Errorf("a sequence has length %d, at most %d is wanted", found.Length, most)
		}
		out.Found = append(out.Found, found)
	}
	return out, nil
}

func (c *cycles) Finding(f Found) (storage.Finding, error) {
	q := c.plan.Question
	change, err := goal.ParseChange(&q.Puzzle.Types[q.Goal.Cycle], f.Change)
	if err != nil {
		return storage.Finding{}, fmt.Errorf("the engine wrote what can't be read: %w", err)
	}
	found, err := c.plan.Recount(f.Text, change)
	if err != nil {
		return storage.Finding{}, fmt.Errorf("the engine found what is not so: %w", err)
	}
	return finding(found), plainly(q.Puzzle, f.Text, found.Turns)
}

// finding writes a candidate as the store has it.
func finding(c deepen.Candidate) storage.Finding {
	return storage.Finding{
		ID: classID(c.Class, c.Key), Class: c.Class, Size: int64(c.Size),
		Change: c.Change.String(), Text: c.Text, Length: c.Length, Axes: c.Axes,
	}
}

// classID names the finding of a class by the class's number or, where it has none, by a
// key that no other class has.
func classID(class int, key uint64) string {
	if class == 0 {
		return fmt.Sprintf("x%016x", key)
	}
	return fmt.Sprintf("c%d", class)
}

func (c *cycles) Enough(storage.Search) bool { return false }

func notOfThisPlan(length, index int) error {
	return fmt.Errorf("there is no unit %d of length %d", index, length)
}
