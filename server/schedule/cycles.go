package schedule

import (
	"context"
	"errors"

	"turnwright/search/deepen"
	"turnwright/search/table"
	"turnwright/storage"
)

// cycles is the kind of search that asks for cycles. The units of one table are a
// stage; one more unit closes the length with what follows from shorter findings.
type cycles struct {
	r      *Runner
	id     string
	engine *deepen.Plan
	tables *tables

	// Of the length that was planned last.
	length int
	units  []deepen.Unit
	near   *table.Near // of the stage under way
}

func (r *Runner) newCycles(s storage.Search, l *live) (*cycles, error) {
	q, err := Question(r.puzzles, s.Spec)
	if err != nil {
		return nil, err
	}
	plan, err := deepen.NewPlan(q)
	if err != nil {
		return nil, err
	}
	return &cycles{r: r, id: s.ID, engine: plan, tables: r.newTables(plan, l)}, nil
}

func (c *cycles) atOnce() ([]storage.Finding, error) { return nil, nil }

func (c *cycles) prepare(ctx context.Context) (storage.Tables, error) { return c.tables.prepare(ctx) }

func (c *cycles) plan(length int) (storage.LengthPlan, []stage) {
	c.length, c.units = length, c.engine.Units(length)
	var stages []stage
	for i, u := range c.units {
		if i == 0 || u.Pass != c.units[i-1].Pass {
			stages = append(stages, stage{first: i, ready: func(ctx context.Context) (err error) {
				c.near, _, err = c.tables.get(ctx, u.Pass)
				return err
			}})
		}
		stages[len(stages)-1].last = i + 1
	}
	closing := len(c.units)
	stages = append(stages, stage{first: closing, last: closing + 1})
	return storage.LengthPlan{
		Length: length,
		Words:  c.engine.Words(length).String(),
		Leaves: c.engine.Leaves(length),
		Units:  closing + 1,
	}, stages
}

func (c *cycles) run(ctx context.Context, index int, progress func(uint64)) (storage.Unit, error) {
	out := storage.Unit{Length: c.length, Index: index}
	var found []deepen.Candidate
	if index == len(c.units) {
		var err error
		if found, err = c.close(ctx); err != nil {
			return out, err
		}
	} else {
		u := c.units[index]
		report, err := c.engine.Run(ctx, u, c.near, progress)
		if err != nil {
			return out, err
		}
		if report.Leaves != u.Leaves {
			return out, errors.New("a unit covered other words than predicted: the proof would be void")
		}
		out.Leaves, found = u.Leaves, report.Found
	}
	var err error
	out.Found, err = findings(c.engine.Question, found)
	return out, err
}

// close gives what follows from the findings that are two shorter.
func (c *cycles) close(ctx context.Context) ([]deepen.Candidate, error) {
	var shorter []string
	scan := storage.FindingScan{Until: storage.AnyEvent, Limit: 500}
	for {
		page, err := c.r.store.Findings(ctx, c.id, scan)
		if err != nil {
			return nil, err
		}
		for _, f := range page {
			if f.Length == c.length-2 {
				shorter = append(shorter, f.Text)
			}
			scan.After = f.Rank()
		}
		if len(page) < scan.Limit {
			break
		}
	}
	return c.engine.Close(c.length, shorter)
}

func (c *cycles) enough(storage.Search) bool { return false }
