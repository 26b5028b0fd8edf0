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

	"turnwright/search/deepen"
	"turnwright/search/table"
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
	q, err := Question(r.puzzles, s.Spec)
	if err != nil {
		return err
	}
	plan, err := deepen.NewPlan(q)
	if err != nil {
		return err
	}
	t := r.newTables(plan, l)
	prepared, err := t.prepare(ctx)
	if err != nil {
		return err
	}
	l.phase(phaseNone)
	if s.State != storage.Running {
		if _, err := r.store.Move(ctx, storage.Request{}, s.ID, storage.Running, storage.Detail{Tables: &prepared}); err != nil {
			return err
		}
	}
	r.hub.tell(s.ID)
	for length := s.Proven + 1; length <= q.Max; length++ {
		if err := r.length(ctx, s.ID, plan, t, l, length); err != nil {
			return err
		}
		r.hub.tell(s.ID)
	}
	_, err = r.store.Move(ctx, storage.Request{}, s.ID, storage.Done, storage.Detail{})
	return err
}

// length has all units of a length done that are not in yet, then closes it.
func (r *Runner) length(ctx context.Context, id string, plan *deepen.Plan, t *tables, l *live, length int) error {
	units := plan.Units(length)
	now, err := r.store.BeginLength(ctx, id, lengthPlan(plan, length, units))
	if err != nil {
		return err
	}
	done, err := r.store.DoneUnits(ctx, id, length)
	if err != nil {
		return err
	}
	begun := now.Lengths[length-1]
	l.begin(length, begun.Covered, begun.Leaves, begun.Done, begun.Units)
	for pass := range t.specs {
		var missing []deepen.Unit
		for _, u := range units {
			if u.Pass == pass && !done[u.Index] {
				missing = append(missing, u)
			}
		}
		if len(missing) == 0 {
			continue
		}
		near, _, err := t.get(ctx, pass)
		if err != nil {
			return err
		}
		l.phase(phaseSearching)
		if err := r.units(ctx, id, plan, near, l, missing); err != nil {
			return err
		}
	}
	if p := l.read(); p.Rate > 0 && p.Leaves > 10_000_000 {
		r.rate.Store(uint64(p.Rate))
	}
	if done[len(units)] {
		return nil
	}
	return r.close(ctx, id, plan, length, len(units))
}

// units runs units on all workers and stores each report.
func (r *Runner) units(ctx context.Context, id string, plan *deepen.Plan, near *table.Near, l *live, units []deepen.Unit) error {
	g, ctx := errgroup.WithContext(ctx)
	var at atomic.Int64
	for range r.workers {
		g.Go(func() error {
			for {
				i := int(at.Add(1)) - 1
				if i >= len(units) {
					return nil
				}
				if err := safely(func() error { return r.unit(ctx, id, plan, near, l, units[i]) }); err != nil {
					return err
				}
			}
		})
	}
	return g.Wait()
}

// unit runs one unit and stores its report.
func (r *Runner) unit(ctx context.Context, id string, plan *deepen.Plan, near *table.Near, l *live, u deepen.Unit) error {
	report, err := plan.Run(ctx, u, near, l.leaves)
	if err != nil {
		return err
	}
	if report.Leaves != u.Leaves {
		return errors.New("a unit covered other words than predicted: the proof would be void")
	}
	if err := r.commit(ctx, id, plan, storage.Unit{Length: u.Length, Index: u.Index, Leaves: u.Leaves}, report.Found); err != nil {
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

// close stores, as the last unit of the length, what follows from the findings
// that are two shorter.
func (r *Runner) close(ctx context.Context, id string, plan *deepen.Plan, length, index int) error {
	var shorter []string
	scan := storage.FindingScan{Until: storage.AnyEvent, Limit: 500}
	for {
		page, err := r.store.Findings(ctx, id, scan)
		if err != nil {
			return err
		}
		for _, f := range page {
			if f.Length == length-2 {
				shorter = append(shorter, f.Text)
			}
			scan.After = f.Rank()
		}
		if len(page) < scan.Limit {
			break
		}
	}
	found, err := plan.Close(length, shorter)
	if err != nil {
		return err
	}
	if err := r.commit(ctx, id, plan, storage.Unit{Length: length, Index: index}, found); err != nil {
		return err
	}
	r.hub.tell(id)
	return nil
}

// commit verifies and stores what a unit found.
func (r *Runner) commit(ctx context.Context, id string, plan *deepen.Plan, u storage.Unit, found []deepen.Candidate) error {
	var err error
	if u.Found, err = findings(plan.Question, found); err != nil {
		return err
	}
	_, err = r.store.CommitUnit(ctx, id, u)
	return err
}
