package schedule

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"turnwright/storage"
)

// Store is what the runner needs of storage.
type Store interface {
	ActiveSearches(ctx context.Context, after uint64, limit int) ([]storage.Search, error)
	Search(ctx context.Context, id string) (storage.Search, error)
	Move(ctx context.Context, r storage.Request, id string, to storage.State, d storage.Detail) (storage.Search, error)
	BeginLength(ctx context.Context, id string, plan storage.LengthPlan) (storage.Search, error)
	DoneUnits(ctx context.Context, id string, length int) (map[int]bool, error)
	CommitUnit(ctx context.Context, id string, u storage.Unit) (storage.Committed, error)
	Findings(ctx context.Context, search string, q storage.FindingScan) ([]storage.Finding, error)
	LoadTable(ctx context.Context, key string, read func(io.Reader) error) error
	PutTable(ctx context.Context, key string, write func(io.Writer) error) error
	DiskLow() error
}

// Runner does one search at a time, on all its workers.
type Runner struct {
	store   Store
	puzzles Builder
	workers int
	log     *slog.Logger
	hub     hub
	wake    chan struct{}
	rate    atomic.Uint64 // leaves per second of all workers, as last measured

	mu      sync.Mutex
	current string // id of the search under way
	stop    context.CancelFunc
	live    *live
}

// NewRunner makes a runner with the given number of workers.
func NewRunner(store Store, puzzles Builder, workers int, log *slog.Logger) *Runner {
	return &Runner{store: store, puzzles: puzzles, workers: workers, log: log, wake: make(chan struct{}, 1)}
}

// Wake makes the runner look for work.
func (r *Runner) Wake() {
	select {
	case r.wake <- struct{}{}:
	default:
	}
}

// Watch gives a channel that receives when a search changed, and a function that ends it.
func (r *Runner) Watch(id string) (<-chan struct{}, func()) { return r.hub.watch(id) }

// Changed tells those who watch a search to look at the store. If the search is
// under way and has ended there, its workers stop.
func (r *Runner) Changed(id string, state storage.State) {
	r.mu.Lock()
	if r.current == id && (state.Ended() || state == storage.Paused) {
		r.stop()
	}
	r.mu.Unlock()
	r.hub.tell(id)
}

// Progress is how far a search is, if it is the one under way.
func (r *Runner) Progress(id string) Progress {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.current != id {
		return Progress{}
	}
	return r.live.read()
}

// Rate is the leaves per second of all workers as last measured, 0 if never.
func (r *Runner) Rate() float64 { return float64(r.rate.Load()) }

// retryPause is how long the runner waits after an error of the store, such as
// a full disk, before it tries again.
const retryPause = 10 * time.Second

// Run does searches until ctx ends. It returns when all workers have stopped.
func (r *Runner) Run(ctx context.Context) {
	for ctx.Err() == nil {
		next, err := r.next(ctx)
		if err == nil && next != nil {
			// Asked first, or tables would be made in vain at every try.
			if err = r.store.DiskLow(); err == nil {
				err = r.search(ctx, *next)
			}
		}
		var wait <-chan time.Time
		switch {
		case ctx.Err() != nil:
			return
		case err != nil:
			r.log.Error("a search can't go on for now", "error", err)
			wait = time.After(retryPause)
		case next != nil:
			continue
		}
		select {
		case <-r.wake:
		case <-wait:
		case <-ctx.Done():
		}
	}
}

// next is the oldest search that is not paused and has not ended.
func (r *Runner) next(ctx context.Context) (*storage.Search, error) {
	for after := uint64(0); ; {
		page, err := r.store.ActiveSearches(ctx, after, 100)
		if err != nil {
			return nil, err
		}
		for _, s := range page {
			if s.State != storage.Paused {
				return &s, nil
			}
			after = s.Number
		}
		if len(page) < 100 {
			return nil, nil
		}
	}
}

// search does one search to its end, or until it is taken away from the runner.
// An error is one of the store; what the engine can't do fails the search.
func (r *Runner) search(parent context.Context, s storage.Search) error {
	ctx, stop := context.WithCancel(parent)
	defer stop()
	l := &live{}
	r.mu.Lock()
	r.current, r.stop, r.live = s.ID, stop, l
	r.mu.Unlock()
	defer func() {
		r.mu.Lock()
		r.current = ""
		r.mu.Unlock()
		r.hub.tell(s.ID)
	}()
	log := r.log.With("search", s.ID)
	// It may have ended before Changed could know that it is under way.
	s, err := r.store.Search(ctx, s.ID)
	if err == nil && (s.State.Ended() || s.State == storage.Paused) {
		return nil
	}
	if err == nil {
		log.Info("search begins", "state", s.State, "proven", s.Proven)
		err = safely(func() error { return r.steps(ctx, s, l) })
	}
	var taken *storage.StateError
	switch {
	case err == nil:
		log.Info("search is done")
		return nil
	case parent.Err() != nil:
		return nil // the server stops; the search goes on at its next start
	case ctx.Err() != nil, errors.As(err, &taken), errors.Is(err, storage.ErrNotFound):
		log.Info("search was taken away", "cause", err)
		return nil
	case errors.Is(err, storage.ErrDiskLow):
		return err
	}
	log.Error("search failed", "error", err)
	_, moveErr := r.store.Move(parent, storage.Request{}, s.ID, storage.Failed, storage.Detail{Error: err.Error()})
	return moveErr
}

func (r *Runner) steps(ctx context.Context, s storage.Search, l *live) error {
	if s.State == storage.Queued {
		if _, err := r.store.Move(ctx, storage.Request{}, s.ID, storage.Preparing, storage.Detail{}); err != nil {
			return err
		}
		r.hub.tell(s.ID)
	}
	k, err := r.kindOf(s, l)
	if err != nil {
		return err
	}
	found, err := k.atOnce()
	if err != nil {
		return err
	}
	var prepared *storage.Tables
	if found == nil {
		tables, err := k.prepare(ctx)
		if err != nil {
			return err
		}
		prepared = &tables
	}
	l.phase(phaseNone)
	if s.State != storage.Running {
		if _, err := r.store.Move(ctx, storage.Request{}, s.ID, storage.Running, storage.Detail{Tables: prepared}); err != nil {
			return err
		}
	}
	r.hub.tell(s.ID)
	if found == nil {
		if err := r.lengths(ctx, s, k, l); err != nil {
			return err
		}
	}
	_, err = r.store.Move(ctx, storage.Request{}, s.ID, storage.Done, storage.Detail{Found: found})
	return err
}

// lengths does the lengths that are not proven yet, until there are no more or
// enough was found.
func (r *Runner) lengths(ctx context.Context, s storage.Search, k kind, l *live) error {
	if s.Proven == len(s.Lengths) && k.enough(s) {
		return nil // it died just before its end
	}
	for length := s.Proven + 1; length <= s.Spec.Max; length++ {
		enough, err := r.length(ctx, s.ID, k, l, length)
		if err != nil || enough {
			return err
		}
		r.hub.tell(s.ID)
	}
	return nil
}

// length has those units of a length done that are not in yet, stage by stage,
// and tells whether the search is over.
func (r *Runner) length(ctx context.Context, id string, k kind, l *live, length int) (enough bool, err error) {
	plan, stages := k.plan(length)
	now, err := r.store.BeginLength(ctx, id, plan)
	if err != nil {
		return false, err
	}
	done, err := r.store.DoneUnits(ctx, id, length)
	if err != nil {
		return false, err
	}
	begun := now.Lengths[length-1]
	l.begin(begun)
	for _, stage := range stages {
		if err := r.stage(ctx, id, k, l, stage, done); err != nil {
			return false, err
		}
		if now, err = r.store.Search(ctx, id); err != nil {
			return false, err
		}
		if k.enough(now) {
			return true, nil
		}
	}
	if p := l.read(); p.Rate > 0 && p.Leaves > 10_000_000 && !p.Open {
		r.rate.Store(uint64(p.Rate))
	}
	return false, nil
}

// stage runs the units of a stage that are not done, on all workers.
func (r *Runner) stage(ctx context.Context, id string, k kind, l *live, s stage, done map[int]bool) error {
	var missing []int
	for index := s.first; index < s.last; index++ {
		if !done[index] {
			missing = append(missing, index)
		}
	}
	if len(missing) == 0 {
		return nil
	}
	if s.ready != nil {
		if err := s.ready(ctx); err != nil {
			return err
		}
	}
	l.phase(phaseSearching)
	g, ctx := errgroup.WithContext(ctx)
	var at atomic.Int64
	for range r.workers {
		g.Go(func() error {
			for {
				i := int(at.Add(1)) - 1
				if i >= len(missing) {
					return nil
				}
				if err := safely(func() error { return r.unit(ctx, id, k, l, missing[i]) }); err != nil {
					return err
				}
			}
		})
	}
	return g.Wait()
}

// unit runs one unit and stores its report.
func (r *Runner) unit(ctx context.Context, id string, k kind, l *live, index int) error {
	report, err := k.run(ctx, index, l.covered)
	if err != nil {
		return err
	}
	if _, err := r.store.CommitUnit(ctx, id, report); err != nil {
		return err
	}
	l.unit()
	r.hub.tell(id)
	return nil
}

// safely turns a panic into an error: a fault of the engine fails its search,
// but neither ends the server nor meets it again at its next start.
func safely(work func() error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("a fault of the engine: %v\n%s", r, debug.Stack())
		}
	}()
	return work()
}
