package schedule

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"

	"turnwright/server/engine"
	"turnwright/server/shelf"
	"turnwright/storage"
)

// fetch brings a table from the cache or, where it is not there or can't be used,
// has it made and writes it to the cache.
func (r *Runner) fetch(ctx context.Context, t engine.Table, w shelf.Watch) (c engine.Content, cached bool, free func(), err error) {
	defer r.thrift.begin()()
	w.Loading()
	c, free, err = r.loadTable(ctx, t)
	r.count(func(n *Counts) {
		if err == nil {
			n.TablesLoaded++
		} else {
			n.TablesMissed++
		}
	})
	if err == nil {
		return c, true, free, nil
	}
	if !errors.Is(err, storage.ErrMiss) {
		if ctx.Err() != nil {
			return nil, false, nil, err
		}
		r.log.Warn("a cached table can't be used and is made anew", "table", t.Key, "error", err)
	}
	w.Building()
	if c, err = t.Build(ctx, max(r.opt.Slots, runtime.GOMAXPROCS(0)), w.Entries); err != nil {
		return nil, false, nil, err
	}
	r.count(func(n *Counts) { n.TablesBuilt++ })
	if err := r.store.PutTable(ctx, t.Key, c.Write); err != nil {
		if ctx.Err() != nil {
			return nil, false, nil, err
		}
		// The search can do without the cache.
		r.log.Warn("a table could not be cached", "table", t.Key, "error", err)
	}
	return c, false, nil, nil
}

// loadTable brings a table from the cache. Where other processes of the host work too,
// all share one copy.
func (r *Runner) loadTable(ctx context.Context, t engine.Table) (c engine.Content, free func(), err error) {
	r.mu.Lock()
	others := r.others()
	r.mu.Unlock()
	if others {
		shared, err := r.store.ShareTable(ctx, t.Key)
		if err == nil {
			return shelf.Mapped(t, shared.Path)
		}
		if errors.Is(err, storage.ErrMiss) || ctx.Err() != nil {
			return nil, nil, err
		}
		r.log.Warn("a table can't be shared between processes", "table", t.Key, "error", err)
	}
	err = r.store.LoadTable(ctx, t.Key, func(from io.Reader) (err error) {
		c, err = t.Read(from)
		return err
	})
	return c, nil, err
}

// Locate gives the file of a table that a worker needs for a unit of a search. Where
// the table is not in the cache any more it is made again.
func (r *Runner) Locate(ctx context.Context, search, key string) (storage.SharedTable, error) {
	f, err := r.store.ShareTable(ctx, key)
	if !errors.Is(err, storage.ErrMiss) {
		return f, err
	}
	e, err := r.engineOf(ctx, search)
	if err != nil {
		return f, err
	}
	for _, t := range e.Tables() {
		if t.Key != key {
			continue
		}
		c, _, release, err := r.shelf.Take(ctx, t, &watch{live: &live{}, quiet: true})
		if err != nil {
			return f, err
		}
		defer release()
		f, err := r.store.ShareTable(ctx, key)
		if errors.Is(err, storage.ErrMiss) { // it was in memory only
			if err := r.store.PutTable(ctx, key, c.Write); err != nil {
				return f, err
			}
			f, err = r.store.ShareTable(ctx, key)
		}
		return f, err
	}
	return f, fmt.Errorf("search %s has no table %q: %w", search, key, storage.ErrMiss)
}
