package care

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"turnwright/search/puzzle"
	"turnwright/server/engine"
	"turnwright/storage"
)

// Kept is what a check looks at.
type Kept interface {
	Check(ctx context.Context, repair bool, tell func(storage.Problem) error) error
	Puzzles(ctx context.Context, after string, limit int) ([]storage.Puzzle, error)
	Searches(ctx context.Context, before uint64, limit int) ([]storage.Search, error)
	Findings(ctx context.Context, search string, q storage.FindingScan) ([]storage.Finding, error)
	TableUse() (bytes, limit int64, tables int)
}

// Summary is what a check came to.
type Summary struct {
	Searches, Findings, Tables int // that were looked at
	Problems, Repaired         int
}

// Check holds everything that is kept against itself: what follows from other
// records, and what every finding says of its sequence, which is carried out turn by
// turn once more. It tells each problem. With repair it mends what [storage.Store.Check]
// can, and nobody else may use the store meanwhile; a finding that is wrong stays for
// people to look at.
func Check(ctx context.Context, kept Kept, build engine.Builder, repair bool, tell func(storage.Problem) error) (Summary, error) {
	c := &check{ctx: ctx, kept: kept, build: build}
	c.tell = func(p storage.Problem) error {
		c.sum.Problems++
		if p.Repaired {
			c.sum.Repaired++
		}
		return tell(p)
	}
	_, _, c.sum.Tables = kept.TableUse()
	if err := kept.Check(ctx, repair, c.tell); err != nil {
		return c.sum, err
	}
	if err := c.puzzles(); err != nil {
		return c.sum, err
	}
	return c.sum, c.searches()
}

type check struct {
	ctx   context.Context
	kept  Kept
	build engine.Builder
	tell  func(storage.Problem) error
	sum   Summary
}

func (c *check) problem(at, format string, args ...any) error {
	return c.tell(storage.Problem{At: at, What: fmt.Sprintf(format, args...)})
}

// unread tells of records that can't be listed, as one of them can't be read; the
// rest is looked at all the same.
func (c *check) unread(at string, err error) error {
	if c.ctx.Err() != nil {
		return err
	}
	return c.problem(at, "not all could be looked at: %v", err)
}

const pageSize = 500

// puzzles builds every puzzle that a user defined.
func (c *check) puzzles() error {
	for after := ""; ; {
		page, err := c.kept.Puzzles(c.ctx, after, pageSize)
		if err != nil {
			return c.unread("puzzles", err)
		}
		for _, p := range page {
			def, err := puzzle.ParseDefinition([]byte(p.Definition))
			if err == nil {
				_, err = c.build.Build(p.Definition)
			}
			switch {
			case err != nil:
				err = c.problem("puzzle "+p.Name, "it can't be built: %v", err)
			case def.Name != p.Name:
				err = c.problem("puzzle "+p.Name, "its definition is that of %q", def.Name)
			}
			if err != nil {
				return err
			}
			after = p.Name
		}
		if len(page) < pageSize {
			return nil
		}
	}
}

func (c *check) searches() error {
	for before := uint64(0); ; {
		page, err := c.kept.Searches(c.ctx, before, pageSize)
		if err != nil {
			return c.unread("searches", err)
		}
		for _, s := range page {
			if err := c.search(s); err != nil {
				return err
			}
			c.sum.Searches++
			before = s.Number
		}
		if len(page) < pageSize {
			return nil
		}
	}
}

// search carries out every finding of a search.
func (c *check) search(s storage.Search) error {
	at := "search " + s.ID
	e, err := engine.New(c.build, s.Spec)
	if err != nil {
		return c.problem(at, "what it asks can't be understood: %v", err)
	}
	for f, err := range storage.AllFindings(c.ctx, c.kept, s.ID) {
		if errors.Is(err, storage.ErrNotFound) {
			return nil // it was deleted meanwhile
		}
		if err != nil {
			return c.unread(at, err)
		}
		if what := wrong(e, f); what != "" {
			if err := c.problem(at+", finding "+f.ID, "%s", what); err != nil {
				return err
			}
		}
		c.sum.Findings++
	}
	return nil
}

// wrong says what of a finding is not as its sequence has it, if anything is.
func wrong(e engine.Engine, f storage.Finding) string {
	is, err := e.Finding(engine.Found{Text: f.Text, Change: f.Change, Structure: f.Structure})
	if err != nil {
		return err.Error()
	}
	if f.Place > 1 {
		is.ID = fmt.Sprintf("%s-%d", is.ID, f.Place)
	}
	var out []string
	for _, field := range []struct {
		name     string
		has, yes any
	}{
		{"name", f.ID, is.ID}, {"class", f.Class, is.Class}, {"cycles in its class", f.Size, is.Size},
		{"change", f.Change, is.Change}, {"length", f.Length, is.Length}, {"axes", f.Axes, is.Axes},
	} {
		if field.has != field.yes {
			out = append(out, fmt.Sprintf("its %s: %v, should be %v", field.name, field.has, field.yes))
		}
	}
	return strings.Join(out, "; ")
}
