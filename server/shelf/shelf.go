// Package shelf keeps tables in memory while they are in use, and as long after as
// there is room, so that all searches and workers of a process share one copy.
//
//	s := shelf.New(fetch, limit)
//	table, cached, release, err := s.Take(ctx, spec, watch)
//	defer release()
//
// It does not know where tables come from: the function that it is made with does.
package shelf

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"runtime/debug"
	"slices"
	"sync"

	"turnwright/server/engine"
)

// Watch is told how fetching a table is coming on.
type Watch interface {
	Loading()           // from the cache, or from elsewhere
	Building()          // it has to be made
	Entries(now uint64) // that are there now
}

// Fetch brings a table, and tells whether it was ready somewhere or had to be made. The
// function that it returns, if any, gives the table's memory back.
type Fetch func(ctx context.Context, t engine.Table, w Watch) (c engine.Content, cached bool, free func(), err error)

// Shelf is safe for concurrent use.
type Shelf struct {
	fetch Fetch
	limit int64

	mu    sync.Mutex
	items map[string]*item
	bytes int64
	clock uint64 // counts uses
}

type item struct {
	ready   chan struct{} // closed when it was fetched, or that failed
	content engine.Content
	free    func()
	err     error
	bytes   int64
	users   int
	used    uint64
}

// New makes a shelf that keeps tables that nobody uses as long as all together
// take no more than limit bytes.
func New(fetch Fetch, limit int64) *Shelf {
	return &Shelf{fetch: fetch, limit: limit, items: map[string]*item{}}
}

// Take gives a table, fetched if it is not here. cached is false where it had to be
// made. Who takes it calls release once when done with it.
func (s *Shelf) Take(ctx context.Context, t engine.Table, w Watch) (c engine.Content, cached bool, release func(), err error) {
	for {
		s.mu.Lock()
		it, ok := s.items[t.Key]
		if !ok {
			return s.bring(ctx, t, w)
		}
		it.users++
		s.mu.Unlock()
		select {
		case <-it.ready:
		case <-ctx.Done():
			s.release(t.Key, it)
			return nil, false, nil, ctx.Err()
		}
		if it.err == nil {
			w.Entries(t.Entries)
			return it.content, true, sync.OnceFunc(func() { s.release(t.Key, it) }), nil
		}
		s.release(t.Key, it)
		if ctx.Err() != nil {
			return nil, false, nil, ctx.Err()
		}
		// Who fetched it gave up, or failed: this caller tries for itself.
	}
}

// bring fetches a table. The caller holds the lock, which bring gives back.
func (s *Shelf) bring(ctx context.Context, t engine.Table, w Watch) (engine.Content, bool, func(), error) {
	it := &item{ready: make(chan struct{}), bytes: t.Bytes, users: 1}
	s.items[t.Key] = it
	s.bytes += t.Bytes
	gone := s.evict()
	s.mu.Unlock()
	gone()
	content, cached, free, err := s.fetched(ctx, t, w)
	s.mu.Lock()
	it.content, it.free, it.err = content, free, err
	if err != nil {
		delete(s.items, t.Key) // those who wait for it see the error, and try again
		s.bytes -= t.Bytes
	}
	s.mu.Unlock()
	close(it.ready)
	if err != nil {
		return nil, false, nil, err
	}
	w.Entries(t.Entries)
	return content, cached, sync.OnceFunc(func() { s.release(t.Key, it) }), nil
}

// fetched fetches a table. A fault in that is an error: others may wait for the table.
func (s *Shelf) fetched(ctx context.Context, t engine.Table, w Watch) (c engine.Content, cached bool, free func(), err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("a fault while table %q was fetched: %v\n%s", t.Key, r, debug.Stack())
		}
	}()
	return s.fetch(ctx, t, w)
}

// release ends one use.
func (s *Shelf) release(key string, it *item) {
	s.mu.Lock()
	it.users--
	s.clock++
	it.used = s.clock
	gone := func() {}
	if s.items[key] == it {
		gone = s.evict()
	}
	s.mu.Unlock()
	gone()
}

// evict takes tables off that nobody uses, those first that have not been used
// longest, until the rest fits. What it returns gives their memory back, and is
// called without the lock.
func (s *Shelf) evict() func() {
	var free []func()
	for s.bytes > s.limit {
		oldest := ""
		for key, it := range s.items {
			if it.users == 0 && (oldest == "" || it.used < s.items[oldest].used) {
				oldest = key
			}
		}
		if oldest == "" {
			break
		}
		it := s.items[oldest]
		s.bytes -= it.bytes
		delete(s.items, oldest)
		free = append(free, it.free)
	}
	if free == nil {
		return func() {}
	}
	return func() {
		for _, f := range free {
			if f != nil {
				f()
			}
		}
		debug.FreeOSMemory()
	}
}

// Keys lists the tables that are here, the last used first, at most so many.
func (s *Shelf) Keys(most int) []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	keys := slices.SortedFunc(maps.Keys(s.items), func(a, b string) int {
		return cmp.Compare(s.items[b].used, s.items[a].used)
	})
	return keys[:min(len(keys), most)]
}

// Bytes is the memory that the tables take which are here.
func (s *Shelf) Bytes() int64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.bytes
}

// Clear takes all tables off that nobody uses.
func (s *Shelf) Clear() {
	s.mu.Lock()
	limit := s.limit
	s.limit = 0
	gone := s.evict()
	s.limit = limit
	s.mu.Unlock()
	gone()
}
