// Package coverage serves a sequence for every class of 3-cycles, from the
// findings of all searches that there are.
//
// The one idea: nothing of it is stored. A table follows from the findings of the
// searches for its goal, and is computed when someone asks. The last few are kept in
// memory under what they rest on (which searches, and how many findings each had), so that
// a new finding makes a new table by itself and nothing has to be invalidated.
//
//	known, err := tables.Get(ctx, ask)
//	known.Rows[0].Sequence
//
// What to do with sequences that are known is the work of packages fits and insertions.
package coverage

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/coverage"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/variant"
	"turnwright/server/engine"
	"turnwright/server/fail"
	"turnwright/server/read"
	"turnwright/storage"
)

// Store is what tables need of storage.
type Store interface {
	Searches(ctx context.Context, before uint64, limit int) ([]storage.Search, error)
	Findings(ctx context.Context, search string, q storage.FindingScan) ([]storage.Finding, error)
}

// Ask says which table is wanted.
type Ask struct {
	Puzzle *puzzle.Puzzle
	Goal   goal.Goal // of a 3-cycle, without pins and axes
	Metric puzzle.Metric
	Core   string // as in storage.Spec: whose proofs count
	Keep   int    // sequences for each class: 1 to coverage.MaxKeep
}

// Known is a table with what it rests on. It doesn't change any more: its rows are
// there, and any number of goroutines may ask Table for the best sequences of a class.
type Known struct {
	Table     *coverage.Table
	Rows      []coverage.Row
	Searches  int // that it rests on
	Sequences int // different ones that they found

	goal, basis string
	keep        int
	own         bool // of sequences that a client knows
}

// Bounds of what is kept in memory, and of what a table is made from.
const (
	maxKept   = 8
	maxCycles = 4_000_000       // of all tables that are kept
	maxSpare  = 20_000          // sequences taken in besides the best of each class
	maxTime   = 2 * time.Minute // that making a table may take, the wait for its turn included
)

// Tables computes tables and keeps the last ones. It is safe for concurrent use.
type Tables struct {
	store Store
	turn  chan struct{} // holds a token for the table that is being made: one takes up to seconds of a core

	mu   sync.Mutex
	kept []*Known // the last used first
}

// NewTables makes an empty set of tables over a store.
func NewTables(store Store) *Tables {
	return &Tables{store: store, turn: make(chan struct{}, 1)}
}

// Get gives the table as the findings are now.
func (t *Tables) Get(ctx context.Context, ask Ask) (*Known, error) {
	found, err := t.searches(ctx, ask)
	if err != nil {
		return nil, err
	}
	k := &Known{goal: goalKey(ask), basis: basisKey(found), keep: ask.Keep}
	return t.get(ctx, ask, k, func() error { return t.fill(ctx, k, ask.Core, found) })
}

// Of gives the table of sequences that a client knows; no search counts. field is theirs
// in the request.
func (t *Tables) Of(ctx context.Context, ask Ask, field string, sequences [][]puzzle.Turn) (*Known, error) {
	var texts []string
	for _, turns := range sequences {
		texts = append(texts, notation.Print(ask.Puzzle, turns))
	}
	k := &Known{goal: goalKey(ask), basis: strings.Join(texts, "\n"), keep: ask.Keep, own: true, Sequences: len(texts)}
	return t.get(ctx, ask, k, func() error {
		for i, turns := range sequences {
			if err := k.Table.Add(turns, nil); err != nil {
				typ := ask.Puzzle.Types[ask.Goal.Cycle].Name
				return fail.Refused(v1.ErrorReason_ERROR_REASON_SEQUENCE_REFUSED, fmt.Sprintf("%s[%d]", field, i),
					fmt.Errorf("%q is not known as a 3-cycle of type %s that keeps what is protected: %w", clip(texts[i]), typ, err))
			}
		}
		return nil
	})
}

// clip keeps long texts out of messages.
func clip(text string) string {
	if len(text) > read.MaxName {
		return text[:read.MaxName] + "…"
	}
	return text
}

// get makes a table unless it is there.
func (t *Tables) get(ctx context.Context, ask Ask, k *Known, fill func() error) (*Known, error) {
	if have, _ := t.look(k); have != nil {
		return have, nil
	}
	ctx, done := context.WithTimeout(ctx, maxTime)
	defer done()
	select {
	case t.turn <- struct{}{}:
		defer func() { <-t.turn }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	have, bench := t.look(k) // another call may have made it meanwhile
	if have != nil {
		return have, nil
	}
	if bench == nil {
		var err error
		if bench, err = variant.NewBench(ask.Puzzle, ask.Goal, ask.Metric); err != nil {
			return nil, refused(err)
		}
	}
	k.Table = coverage.On(bench, ask.Keep)
	if err := fill(); err != nil {
		return nil, err
	}
	var err error
	if k.Rows, err = k.Table.Rows(ctx); err != nil {
		return nil, err
	}
	t.hold(k)
	return k, nil
}

// look finds a table that rests on the same, or else the bench of one for the same goal.
func (t *Tables) look(k *Known) (*Known, *variant.Bench) {
	t.mu.Lock()
	defer t.mu.Unlock()
	var bench *variant.Bench
	for i, have := range t.kept {
		if have.goal != k.goal {
			continue
		}
		if have.basis == k.basis && have.keep == k.keep && have.own == k.own {
			t.kept = slices.Insert(slices.Delete(t.kept, i, i+1), 0, have)
			return have, nil
		}
		bench = have.Table.Bench
	}
	return nil, bench
}

// hold keeps a table in the place of what the same goal had, and lets those go that were
// not used for longest. One that is too large by itself is not kept.
func (t *Tables) hold(k *Known) {
	if k.Table.Bench.Catalog.Cycles > maxCycles {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.kept = slices.DeleteFunc(t.kept, func(old *Known) bool { return old.goal == k.goal && old.keep == k.keep && old.own == k.own })
	t.kept = slices.Insert(t.kept, 0, k)
	cycles := 0
	for i, have := range t.kept {
		if cycles += have.Table.Bench.Catalog.Cycles; i == maxKept || cycles > maxCycles {
			t.kept = slices.Delete(t.kept, i, len(t.kept))
			return
		}
	}
}

func goalKey(ask Ask) string {
	return fmt.Sprint(ask.Goal.Cycle, ask.Goal.Ignore, ask.Metric, ask.Core, " ", ask.Puzzle.Def.YAML())
}

// basisKey says how many findings each search had, and what was proven.
func basisKey(found []storage.Search) string {
	var b strings.Builder
	for _, s := range found {
		fmt.Fprintf(&b, "%d %d %d;", s.Number, s.Events, s.Proven)
	}
	return b.String()
}

// searches lists all that look for the same.
func (t *Tables) searches(ctx context.Context, ask Ask) ([]storage.Search, error) {
	const limit = 200
	definition := ask.Puzzle.Def.YAML()
	var out []storage.Search
	for before := uint64(0); ; {
		page, err := t.store.Searches(ctx, before, limit)
		if err != nil {
			return nil, err
		}
		for _, s := range page {
			if s.Spec.Definition == definition && same(ask, s.Spec) {
				out = append(out, s)
			}
			before = s.Number
		}
		if len(page) < limit {
			return out, nil
		}
	}
}

// same tells whether a search on the same puzzle looks for all that is asked for.
func same(ask Ask, spec storage.Spec) bool {
	shape, err := goal.ParseShape(spec.Shape)
	if !spec.ForCycles() || err != nil || !shape.ThreeCycle() || len(spec.Pins)+len(spec.Axes) > 0 || spec.Metric != ask.Metric.String() {
		return false
	}
	g, err := goal.New(ask.Puzzle, spec.Cycle, spec.Protect, spec.Ignore)
	return err == nil && g.Cycle == ask.Goal.Cycle && slices.Equal(g.Ignore, ask.Goal.Ignore)
}

// fill adds what searches found: the best of each class, and of the others as many as are
// allowed. core says whose proofs count.
func (t *Tables) fill(ctx context.Context, k *Known, core string, found []storage.Search) error {
	seen := map[string]bool{}
	spare := 0
searches:
	for _, s := range found {
		for f, err := range storage.AllFindings(ctx, t.store, s.ID) {
			if errors.Is(err, storage.ErrNotFound) {
				continue searches // deleted meanwhile: what it proved, it proved of all its findings
			}
			if err != nil {
				return err
			}
			if seen[f.Text] || f.Place > 1 && spare == maxSpare {
				continue
			}
			seen[f.Text] = true
			if f.Place > 1 {
				spare++
			}
			if err := add(k.Table, f); err != nil {
				return fmt.Errorf("finding %s of search %s: %w", f.ID, s.ID, err)
			}
		}
		if core != engine.CoreFree || s.Spec.Core == engine.CoreFree {
			k.Table.Prove(s.Proven)
		}
		k.Searches++
	}
	k.Sequences = len(seen)
	return nil
}

// add has the slow judge carry a finding out before it is taken.
func add(t *coverage.Table, f storage.Finding) error {
	b := t.Bench
	turns, err := notation.ParseTurns(b.Puzzle, f.Text)
	if err != nil {
		return err
	}
	change, err := goal.ParseChange(&b.Puzzle.Types[b.Goal.Cycle], f.Change)
	if err != nil {
		return err
	}
	return t.Add(turns, change)
}
