// Package schedule does the searches: it decides which comes next, has workers do
// their units, and stores what comes back.
//
// The one idea: the store decides, memory only hints. What is done, what is
// proven, who has a unit and what state a search is in is read from the store, so a
// process that dies at any moment goes on at its next start with the units that are
// missing; and a unit may be announced, done and reported more than once without harm.
//
// A search under way is a job: it prepares tables, opens the units of one stage
// after another, and waits until they are in. Workers, those of this process and
// those of others alike, lease units ([Runner.Lease]), say that they are still at it
// ([Runner.Beat]) and report ([Runner.Report]). Of whom nothing is heard for a
// while, the units go to others.
//
// It does not speak to clients; packages searches and workers do.
package schedule

import (
	"cmp"
	"context"
	"errors"
	"io"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"turnwright/server/engine"
	"turnwright/server/share"
	"turnwright/server/shelf"
	"turnwright/server/work"
	"turnwright/storage"
)

// Store is what the runner needs of storage, besides the ledger.
type Store interface {
	Ledger
	ActiveSearches(ctx context.Context, after uint64, limit int) ([]storage.Search, error)
	Search(ctx context.Context, id string) (storage.Search, error)
	Move(ctx context.Context, r storage.Request, id string, to storage.State, d storage.Detail) (storage.Search, error)
	BeginLength(ctx context.Context, id string, plan storage.LengthPlan) (storage.Search, error)
	DoneUnits(ctx context.Context, id string, length int) (map[int]bool, error)
	RaiseAlarm(ctx context.Context, id, alarm string) error
	Findings(ctx context.Context, search string, q storage.FindingScan) ([]storage.Finding, error)
	LoadTable(ctx context.Context, key string, read func(io.Reader) error) error
	ShareTable(ctx context.Context, key string) (storage.SharedTable, error)
	PutTable(ctx context.Context, key string, write func(io.Writer) error) error
	KeepShares(ctx context.Context, shares any) error
	Shares(ctx context.Context, shares any) error
	EqualSearches(ctx context.Context, id string) ([]storage.Search, error)
	Adopt(ctx context.Context, id, from string) (storage.Search, error)
	DiskLow() error
}

// Ledger is the authority over units: durable, and each change of a lease a
// compare-and-set on its epoch and its worker.
type Ledger interface {
	GrantUnit(ctx context.Context, id string, length, index int, worker string) (storage.Lease, error)
	CommitUnit(ctx context.Context, id string, u storage.Unit) (storage.Committed, error)
	FailUnit(ctx context.Context, id string, length, index int, worker string, epoch uint64, why string) (storage.Lease, error)
	LoseUnit(ctx context.Context, id string, length, index int, epoch uint64) (storage.Lease, error)
	ReturnUnit(ctx context.Context, id string, length, index int, worker string, epoch uint64) error
	Leases(ctx context.Context, id string, length int) (map[int]storage.Lease, error)
}

// Options say how a [Runner] runs.
type Options struct {
	Slots  int   // units that this process does at once; none if the work is left to others
	Memory int64 // bytes for the tables of all searches under way
	Logger *slog.Logger
	Lease  time.Duration // how long a unit stays with a worker of which nothing is heard; LeaseTime where 0

	Version string // of the program, as workers must have it
	Host    string // boot id
}

// Runner does searches. Its methods may be called from any goroutine.
type Runner struct {
	store      Store
	opt        Options
	log        *slog.Logger
	hub        hub
	dispatcher Dispatcher
	shelf      *shelf.Shelf
	hush       hush
	thrift     thrift
	engines    *engine.Kept
	speeds     speeds
	wake       chan struct{}
	urgent     atomic.Int64 // short questions whose units are being done

	reading sync.Mutex // see read; it is taken before mu

	mu        sync.Mutex
	missed    map[string]bool       // searches that could not be read when they were changed
	ctx       context.Context       // of Run; nil before it knows the searches, and when it stops
	running   sync.WaitGroup        // jobs
	news      chan struct{}         // closed when there may be something for workers that wait
	known     map[string]*known     // searches that have not ended and are not paused
	equal     map[[16]byte][]string // ids of known searches by what they ask, in the order in which they came
	jobs      map[string]*job       // of these, those under way
	queue     *share.Queue
	accounts  *share.Accounts
	policy    share.Policy
	advised   string // the search that was to be loaded when last asked, and since when
	advisedAt time.Time
	leases    map[Unit]*lease
	workers   map[string]*attendance
	counts    Counts
	began     time.Time
	ownDone   uint64 // units that this process's slots brought back
}

// NewRunner makes a runner of searches whose engines the function makes. Nothing
// happens before Run.
func NewRunner(store Store, build func(storage.Spec) (engine.Engine, error), opt Options) *Runner {
	if opt.Logger == nil {
		opt.Logger = slog.New(slog.DiscardHandler)
	}
	opt.Lease = cmp.Or(opt.Lease, LeaseTime)
	r := &Runner{
		store: store, opt: opt, log: opt.Logger,
		engines:    engine.NewKept(build),
		dispatcher: newQueue(),
		wake:       make(chan struct{}, 1),
		news:       make(chan struct{}),
		known:      map[string]*known{},
		equal:      map[[16]byte][]string{},
		missed:     map[string]bool{},
		accounts:   share.NewAccounts(halfLife, 0),
		jobs:       map[string]*job{},
		leases:     map[Unit]*lease{},
		workers:    map[string]*attendance{},
		began:      time.Now(),
	}
	r.policy = share.Default(r.workersNow(), opt.Memory)
	r.queue = share.NewQueue(r.policy, r.accounts)
	r.shelf = shelf.New(r.fetch, opt.Memory+r.policy.Reserve)
	return r
}

// halfLife is how long it takes until half of what a member used is forgotten.
const halfLife = time.Hour

// look makes the runner look for what to begin.
func (r *Runner) look() {
	select {
	case r.wake <- struct{}{}:
	default:
	}
}

// Watch gives a channel that receives when a search changed, and a function that ends it.
func (r *Runner) Watch(id string) (<-chan struct{}, func()) { return r.hub.watch(id) }

// Changed tells of a search that is new, or was changed or deleted by somebody else.
// What became of it is read from the store: the caller may be late. If it is under
// way and has ended, or was paused, its workers stop.
func (r *Runner) Changed(ctx context.Context, id string) {
	err := r.read(context.WithoutCancel(ctx), id, func(s storage.Search) { // what was changed is, even if nobody waits for the answer
		switch j := r.jobs[id]; {
		case j != nil && (s.State.Ended() || s.State == storage.Paused):
			j.stop(errTaken)
			r.touch(j)
		case s.State.Ended() || s.State == storage.Paused:
			r.leave(s)
		default:
			r.enter(s)
		}
	})
	if err != nil {
		r.log.Warn("a changed search can't be read for now", "search", id, "error", err)
		r.mu.Lock()
		r.missed[id] = true
		r.mu.Unlock()
		return
	}
	r.hub.tell(id)
	r.look()
}

// read reads a search from the store and has the runner's lock held while note takes
// note of it. One that is not there any more counts as cancelled. Of two who read, the later
// sees the later state.
func (r *Runner) read(ctx context.Context, id string, note func(s storage.Search)) error {
	r.reading.Lock()
	defer r.reading.Unlock()
	s, err := r.store.Search(ctx, id)
	if errors.Is(err, storage.ErrNotFound) {
		s.ID, s.State, err = id, storage.Cancelled, nil
	}
	if err != nil {
		return err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	note(s)
	return nil
}

// catchUp looks again at searches that could not be read when they were changed.
func (r *Runner) catchUp(ctx context.Context) {
	r.mu.Lock()
	missed := r.missed
	r.missed = map[string]bool{}
	r.mu.Unlock()
	for id := range missed {
		r.Changed(ctx, id)
	}
}

// Progress is how far a search is, if it is under way.
func (r *Runner) Progress(id string) Progress {
	r.mu.Lock()
	defer r.mu.Unlock()
	if j := r.jobs[id]; j != nil {
		return j.live.read()
	}
	if k := r.known[id]; k != nil && r.leader(k).job != nil { // what is done for another is done for it
		return r.leader(k).job.live.read()
	}
	return Progress{}
}

// Rate is the leaves per second of all workers together as last measured, 0 if never.
func (r *Runner) Rate() float64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.speeds.of(kindCycles) * float64(r.workersNow())
}

// errTaken is why a job stops that is not to go on now.
var errTaken = errors.New("the search was taken away")

// errLater is why a job stops that is tried again after a pause: the ledger failed, and
// may not the next time.
var errLater = errors.New("the store failed")

// lookEvery is how often the runner looks for what to begin, and for leases that
// are over, without being told.
const lookEvery = time.Second

// retryPause is how long a search waits after an error of the store, such as a
// full disk, before it is tried again.
const retryPause = 10 * time.Second

// Run does searches until ctx ends. It returns when all work has stopped.
func (r *Runner) Run(ctx context.Context) {
	for !r.recall(ctx) {
		select {
		case <-time.After(retryPause):
		case <-ctx.Done():
			return
		}
	}
	if !r.recallShares(ctx) {
		return
	}
	r.mu.Lock()
	r.ctx = ctx
	r.mu.Unlock()
	var slots sync.WaitGroup
	slots.Go(func() { work.Run(ctx, local{r}, local{r}, r.opt.Slots, r.log) })
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	kept := time.Now()
	for ctx.Err() == nil {
		r.catchUp(ctx)
		r.expire(ctx)
		r.over(ctx)
		r.followAll(ctx)
		r.admit()
		if now := time.Now(); now.Sub(kept) > shareEvery {
			kept = now
			r.keepShares(ctx)
		}
		select {
		case <-r.wake:
		case <-tick.C:
			r.mu.Lock()
			r.bump() // a dispatcher may deliver late, and tells nobody
			r.mu.Unlock()
		case <-ctx.Done():
		}
	}
	slots.Wait()
	r.mu.Lock()
	r.ctx = nil // from here on nobody begins a search
	r.mu.Unlock()
	r.running.Wait()
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), retryPause)
	defer cancel()
	r.keepShares(last)
}

// recall reads from the store which searches have not ended, and tells whether it could.
func (r *Runner) recall(ctx context.Context) bool {
	for after := uint64(0); ; {
		last, more, err := r.recallPage(ctx, after)
		if err != nil {
			if ctx.Err() == nil {
				r.log.Error("the searches can't be read for now", "error", err)
			}
			return false
		}
		if !more {
			return true
		}
		after = last
	}
}

func (r *Runner) recallPage(ctx context.Context, after uint64) (last uint64, more bool, err error) {
	r.reading.Lock()
	defer r.reading.Unlock()
	const size = 500
	page, err := r.store.ActiveSearches(ctx, after, size)
	if err != nil {
		return 0, false, err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, s := range page {
		r.enter(s)
		last = s.Number
	}
	return last, len(page) == size, nil
}

// do does one search to its end, or until it is taken away.
func (r *Runner) do(j *job) {
	log := r.log.With("search", j.id)
	err := r.begin(j, log)
	stopped := context.Cause(j.ctx) // by somebody else, and why
	r.finish(j)
	var taken *storage.StateError
	again := time.Time{} // when it is tried again, after an error of the store
	switch {
	case err == nil:
		log.Info("search is done")
	case j.parent.Err() != nil: // the server stops; the search goes on at its next start
	case errors.Is(stopped, errGivesWay):
		log.Info("search gives way for now")
	case stopped != nil, errors.As(err, &taken), errors.Is(err, storage.ErrNotFound), errors.Is(err, errTaken):
		log.Info("search was taken away", "cause", err)
	case errors.Is(err, storage.ErrDiskLow), errors.Is(err, errLater):
		log.Error("the search can't go on for now", "error", err)
		again = time.Now().Add(retryPause)
	default:
		log.Error("search failed", "error", err)
		if _, err := r.store.Move(j.parent, storage.Request{}, j.id, storage.Failed, storage.Detail{Error: err.Error()}); err != nil {
			log.Error("the failure could not be stored", "error", err)
			again = time.Now().Add(retryPause)
		}
	}
	gone := func(k *known) {
		delete(r.jobs, j.id)
		k.job, k.notBefore = nil, again
	}
	err = r.read(j.parent, j.id, func(s storage.Search) {
		k := r.known[j.id]
		gone(k)
		if s.State.Ended() || s.State == storage.Paused {
			r.leave(s)
			return
		}
		r.enter(s)
	})
	if err != nil { // it may be over, or not: that is seen when it is begun again
		r.mu.Lock()
		again = time.Now().Add(retryPause)
		k := r.known[j.id]
		gone(k)
		r.put(k)
		r.mu.Unlock()
	}
	r.hub.tell(j.id)
	r.look()
}

// begin does a job, unless its search ended before anyone could know that it is under way.
func (r *Runner) begin(j *job, log *slog.Logger) error {
	// Asked first, or tables would be made in vain at every try.
	if err := r.store.DiskLow(); err != nil {
		return err
	}
	s, err := r.store.Search(j.ctx, j.id)
	if err != nil {
		return err
	}
	if s.State.Ended() || s.State == storage.Paused {
		return errTaken
	}
	if s, err = r.adopt(j, s); err != nil || s.State == storage.Done {
		return err
	}
	log.Info("search begins", "state", s.State, "proven", s.Proven)
	_, err = engine.Safely(func() (struct{}, error) { return struct{}{}, r.steps(j, s) })
	return err
}
