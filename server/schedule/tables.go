package schedule

import (
	"context"
	"errors"
	"io"
	"runtime/debug"
	"time"

	"turnwright/search/deepen"
	"turnwright/search/table"
	"turnwright/storage"
)

// tables gives the near tables of one search, from memory, the cache, or made
// anew. It keeps as many as the memory allows, at least the one in use.
type tables struct {
	r     *Runner
	plan  *deepen.Plan
	specs []table.Spec
	limit uint64
	ready map[int]*table.Near // by pass
	bytes uint64
	live  *live
}

func (r *Runner) newTables(plan *deepen.Plan, l *live) *tables {
	return &tables{
		r: r, plan: plan, specs: plan.Tables(), limit: uint64(plan.Question.Memory),
		ready: map[int]*table.Near{}, live: l,
	}
}

// prepare has every table made once, and tells what was done.
func (t *tables) prepare(ctx context.Context) (storage.Tables, error) {
	start := time.Now()
	out := storage.Tables{Count: len(t.specs), Cached: true}
	t.live.tables(uint64(len(t.specs)) * t.specs[0].Words())
	for pass, spec := range t.specs {
		near, cached, err := t.get(ctx, pass)
		if err != nil {
			return out, err
		}
		out.Cached = out.Cached && cached
		out.Words += uint64(near.Len())
		out.Bytes += int64(spec.Bytes())
	}
	out.Elapsed = time.Since(start)
	return out, nil
}

// get gives the table of a pass and whether it came from memory or the cache.
func (t *tables) get(ctx context.Context, pass int) (*table.Near, bool, error) {
	if near, ok := t.ready[pass]; ok {
		return near, true, nil
	}
	spec := t.specs[pass]
	if t.bytes += spec.Bytes(); t.bytes > t.limit {
		clear(t.ready) // passes follow one another: the others come back when it is their turn
		debug.FreeOSMemory()
		t.bytes = spec.Bytes()
	}
	var near *table.Near
	var told uint64
	cached, err := t.r.cached(ctx, t.live, spec.Key(), func(r io.Reader) (err error) {
		near, err = table.Read(spec, r)
		return err
	}, func() (err error) {
		near, err = table.Build(ctx, spec, t.r.workers, func(done, total uint64) {
			words := uint64(float64(done) / float64(total) * float64(spec.Words()))
			t.live.tableWords(words - told)
			told = words
		})
		return err
	}, func(w io.Writer) error { return near.Write(w) })
	if err != nil {
		return nil, false, err
	}
	t.live.tableWords(spec.Words() - told)
	t.ready[pass] = near
	return near, cached, nil
}

// cached has a table read from the cache, or, where it is not there or can't be
// used, made anew and written to the cache. It tells which.
func (r *Runner) cached(ctx context.Context, l *live, key string, read func(io.Reader) error, build func() error, write func(io.Writer) error) (bool, error) {
	// Every chunk that is read or written leaves a copy behind. Tables are large and
	// hold no pointers: collecting often costs next to nothing, and keeps to the memory.
	defer debug.FreeOSMemory()
	defer debug.SetGCPercent(debug.SetGCPercent(10))
	l.phase(phaseLoading)
	err := r.store.LoadTable(ctx, key, read)
	if err == nil {
		return true, nil
	}
	if !errors.Is(err, storage.ErrMiss) {
		if ctx.Err() != nil {
			return false, err
		}
		r.log.Warn("a cached table can't be used and is made anew", "table", key, "error", err)
	}
	l.phase(phaseBuilding)
	if err := build(); err != nil {
		return false, err
	}
	if err := r.store.PutTable(ctx, key, write); err != nil {
		if ctx.Err() != nil {
			return false, err
		}
		// The search can do without the cache.
		r.log.Warn("a table could not be cached", "table", key, "error", err)
	}
	return false, nil
}
