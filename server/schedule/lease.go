package schedule

import (
	"context"
	"errors"
	"fmt"
	"time"

	"turnwright/server/engine"
	"turnwright/server/work"
	"turnwright/storage"
)

// LeaseTime is how long a unit stays with a worker of which nothing is heard, unless
// the options say otherwise.
const LeaseTime = 30 * time.Second

// ownName is the name under which this process's slots have units. They need no
// time: when the process ends, so do they.
const ownName = "server"

// lease is a unit that is with a worker. The runner's lock guards it.
type lease struct {
	job      *job
	worker   string
	epoch    uint64
	deadline time.Time // zero for this process's own
	granted  time.Time // zero where that was before the process began
	covered  uint64    // of the unit so far
	short    bool      // it was given as one of a short question
	ctx      context.Context
	stop     context.CancelFunc
}

// keepLease notes that a worker has a unit. The caller holds the lock.
func (r *Runner) keepLease(j *job, u Unit, worker string, epoch uint64) *lease {
	l := &lease{job: j, worker: worker, epoch: epoch}
	l.ctx, l.stop = context.WithCancel(j.ctx)
	if worker != ownName {
		l.deadline = time.Now().Add(r.opt.Lease)
	}
	r.hold(u, l)
	return l
}

// hold notes a lease. The caller holds the lock.
func (r *Runner) hold(u Unit, l *lease) {
	r.leases[u] = l
	l.job.leased++
	r.touch(l.job)
}

// drop forgets a lease. The caller holds the lock.
func (r *Runner) drop(u Unit) {
	if l := r.leases[u]; l != nil {
		l.stop()
		delete(r.leases, u)
		l.job.leased--
		r.touch(l.job)
	}
}

// Taker is who asks for a unit.
type Taker struct {
	Worker string
	Short  bool // only units of short questions

	// Elsewhere tells that the worker is on another host, where to have a table means to
	// copy it. Tables are the keys of those that it has.
	Elsewhere bool
	Tables    []string
}

// Lease gives a worker a unit, and waits for one until ctx ends: nil, and the
// error of ctx.
func (r *Runner) Lease(ctx context.Context, t Taker) (*work.Lease, error) {
	for {
		r.mu.Lock()
		news := r.news
		r.mu.Unlock()
		l, err := r.TryLease(ctx, t)
		if l != nil || err != nil {
			return l, err
		}
		select {
		case <-news:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// TryLease gives a worker a unit if there is one; nil otherwise.
func (r *Runner) TryLease(ctx context.Context, t Taker) (*work.Lease, error) {
	for ctx.Err() == nil {
		r.mu.Lock()
		u, ok := r.next(t)
		r.mu.Unlock()
		if !ok {
			return nil, nil
		}
		l, err := r.grant(ctx, u, t.Worker)
		if l != nil || err != nil {
			return l, err
		}
	}
	return nil, ctx.Err()
}

// grant has the ledger give a unit to a worker. It gives nil where the hint was of no use.
func (r *Runner) grant(ctx context.Context, u Unit, worker string) (*work.Lease, error) {
	r.mu.Lock()
	j := r.jobs[u.Search]
	useful := j.waitsFor(u) && r.leases[u] == nil
	if useful {
		r.hold(u, &lease{job: j, stop: func() {}}) // its place, so that nobody else asks
	}
	r.mu.Unlock()
	if !useful {
		return nil, nil
	}
	granted, err := r.store.GrantUnit(j.ctx, u.Search, u.Length, u.Index, worker)
	if l := r.granted(j, u, worker, granted, err); l != nil {
		if l.From, err = r.from(j, u); err == nil {
			return l, nil
		}
		_ = r.Return(ctx, worker, l.ID) // the next grant does without
		if j.ctx.Err() != nil {
			return nil, nil
		}
		return nil, err
	}
	if err == nil { // the stage was closed meanwhile
		_ = r.store.ReturnUnit(ctx, u.Search, u.Length, u.Index, worker, granted.Epoch) // the next grant does without
	}
	return nil, nil
}

// from gives the sequence that a unit goes on from, if its engine has units go on.
func (r *Runner) from(j *job, u Unit) (string, error) {
	c, ok := j.engine.(engine.Continuer)
	if !ok {
		return "", nil
	}
	for f, err := range storage.AllFindings(j.ctx, r.store, u.Search) {
		if err != nil {
			return "", err
		}
		if c.Continues(u.Length, u.Index, f) {
			return f.Text, nil
		}
	}
	return "", nil
}

// granted takes note of what the ledger said.
func (r *Runner) granted(j *job, u Unit, worker string, granted storage.Lease, err error) *work.Lease {
	r.mu.Lock()
	defer r.mu.Unlock()
	mine := r.leases[u] != nil && r.leases[u].job == j
	if mine {
		r.drop(u)
	}
	switch {
	case err == nil && mine:
		l := r.keepLease(j, u, worker, granted.Epoch)
		l.short, l.granted = j.short, time.Now()
		return &work.Lease{
			ID:   work.ID{Search: u.Search, Length: u.Length, Index: u.Index, Epoch: granted.Epoch},
			Spec: j.search.Spec, Short: l.short, Time: r.opt.Lease, Context: l.ctx, Watch: &watch{live: j.live, quiet: true},
		}
	case errors.Is(err, storage.ErrUnitDone), errors.Is(err, storage.ErrUnitAside):
		r.settle(j, u)
	case err == nil, j.ctx.Err() != nil:
	default: // of the store, or the search was taken away and the job does not know yet
		r.failStage(j, err)
	}
	return nil
}

// failStage stops a job whose unit the ledger did not take. The caller holds the lock.
func (r *Runner) failStage(j *job, err error) {
	if !errors.Is(err, storage.ErrTooBig) { // it would be the next time too
		err = fmt.Errorf("%w: %w", errLater, err)
	}
	if j.stage != nil {
		select {
		case j.stage.failed <- err:
		default:
		}
	}
}

// Held says of a leased unit how much of it was covered since it was last said.
type Held struct {
	work.ID
	Covered uint64
}

// Beat says that a worker is still at units. It gives those back that the worker
// may drop, as they are not its own any more.
func (r *Runner) Beat(worker string, held []Held) (gone []work.ID) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, h := range held {
		l := r.leases[Unit{h.Search, h.Length, h.Index}]
		switch {
		case l == nil && r.mayOpen(h.ID):
			continue
		case l == nil || l.epoch != h.Epoch || l.worker != worker:
			gone = append(gone, h.ID)
			continue
		}
		if worker != ownName {
			l.deadline = time.Now().Add(r.opt.Lease)
		}
		l.covered += h.Covered
		l.job.live.covered(h.Covered)
	}
	return gone
}

// mayOpen tells whether a unit that this process knows nothing of can be one that
// another process gave out: as long as its search is not at its units again, nobody
// can tell. The caller holds the lock.
func (r *Runner) mayOpen(id work.ID) bool {
	if r.ctx == nil {
		return true // the searches were not read yet, or the next process has to tell
	}
	k := r.known[id.Search]
	switch {
	case k == nil || !k.search.Granted(id.Epoch):
		return false
	case k.job == nil:
		return true
	}
	return k.job.stage == nil && !errors.Is(context.Cause(k.job.ctx), errTaken)
}

// Report takes a unit that a worker finished. It is verified before anything of it is stored. A
// report of a unit that is done changes nothing; if it says something else than the one
// before, that is an alarm. [storage.ErrStale] where the unit was granted anew meanwhile,
// or is another worker's.
func (r *Runner) Report(ctx context.Context, worker string, id work.ID, report engine.Report, took time.Duration) error {
	u := Unit{id.Search, id.Length, id.Index}
	s, err := r.store.Search(ctx, id.Search)
	if err != nil {
		return err
	}
	if !s.Granted(id.Epoch) { // of another that had the id before
		return fmt.Errorf("%v: %w", id, storage.ErrStale)
	}
	if id.Length > len(s.Lengths) || id.Index >= s.Lengths[id.Length-1].Units { // before a plan is made of a length that nobody asked for
		return fmt.Errorf("%v is no unit of the search: %w", id, storage.ErrNotFound)
	}
	e, err := r.engines.Of(s.Spec)
	if err != nil {
		return err
	}
	report.Length, report.Index = id.Length, id.Index
	unit, err := engine.Safely(func() (storage.Unit, error) { return e.Accept(report) })
	if err != nil {
		return errors.Join(fmt.Errorf("%w: %w", ErrRefused, err), r.Fail(ctx, worker, id, err))
	}
	r.mu.Lock()
	if l := r.leases[u]; l != nil && !l.granted.IsZero() {
		took = min(took, time.Since(l.granted)) // a unit is done on one core
	}
	r.mu.Unlock()
	unit.Epoch, unit.Worker, unit.Took = id.Epoch, worker, took
	committed, err := r.store.CommitUnit(ctx, id.Search, unit)
	switch {
	case errors.Is(err, storage.ErrUnitMismatch):
		r.count(func(n *Counts) { n.Mismatches++ })
		r.alarm(ctx, id.Search, fmt.Sprintf("two reports of unit %d of length %d differ: a computer, or a version of the program, can't be trusted (%v)", id.Index, id.Length, err))
	case errors.Is(err, storage.ErrStale), ctx.Err() != nil && errors.Is(err, ctx.Err()):
		return err // the second: whoever reports doesn't wait, the store is not to blame
	case err != nil:
		r.mu.Lock()
		defer r.mu.Unlock()
		if l := r.leases[u]; l != nil && l.epoch == id.Epoch {
			r.failStage(l.job, err)
		}
		return err
	case committed.Repeated:
		r.count(func(n *Counts) { n.Repeated++ })
	default:
		r.count(func(n *Counts) { n.stored(committed.Search.Spec, unit) })
		r.speeds.note(kindOf(committed.Search.Spec), unit.Leaves, took)
		r.mu.Lock()
		if k := r.known[id.Search]; k != nil && k.search.Used <= committed.Search.Used { // reports may overtake one another here
			wishes := k.search.Wishes // what was wished since is known already
			k.search = committed.Search
			k.search.Wishes = wishes
		}
		if l := r.leases[u]; l != nil && l.epoch == id.Epoch {
			r.credit(l.worker, kindOf(committed.Search.Spec), unit.Leaves, took)
			r.charge(id.Search, took, l.short)
		}
		r.mu.Unlock()
	}
	r.mu.Lock()
	j := r.jobs[id.Search]
	if l := r.leases[u]; l != nil {
		if j != nil && l.epoch == id.Epoch && unit.Leaves > l.covered {
			j.live.covered(unit.Leaves - l.covered)
		}
		r.drop(u)
	}
	if r.settle(j, u) {
		j.live.unit()
	}
	r.mu.Unlock()
	r.hub.tell(id.Search)
	if committed.Search.State == storage.Paused { // its budget may be used up
		r.Changed(ctx, id.Search)
	}
	return nil
}

// ErrRefused is for a report that says what can't be.
var ErrRefused = errors.New("the report is refused")

// alarm keeps what people must know of a search.
func (r *Runner) alarm(ctx context.Context, id, text string) {
	r.log.Error("alarm", "search", id, "alarm", text)
	r.count(func(n *Counts) { n.Alarms++ })
	if err := r.store.RaiseAlarm(ctx, id, text); err != nil {
		r.log.Error("an alarm could not be stored", "search", id, "error", err)
	}
	r.hub.tell(id)
}

// Fail takes note that a worker could not do a unit. Another may try, until it is
// set aside.
func (r *Runner) Fail(ctx context.Context, worker string, id work.ID, why error) error {
	l, err := r.store.FailUnit(ctx, id.Search, id.Length, id.Index, worker, id.Epoch, why.Error())
	if err != nil {
		return err
	}
	r.count(func(n *Counts) { n.Failures++ })
	if l.Aside {
		r.alarm(ctx, id.Search, fmt.Sprintf("unit %d of length %d was set aside after %d failures, the last: %v", id.Index, id.Length, len(l.Failed), why))
	}
	r.giveBack(id, l.Aside)
	return nil
}

// Return takes a unit back that was not done, through no fault of its own.
func (r *Runner) Return(ctx context.Context, worker string, id work.ID) error {
	err := r.store.ReturnUnit(ctx, id.Search, id.Length, id.Index, worker, id.Epoch)
	if err == nil || errors.Is(err, storage.ErrNotFound) {
		r.giveBack(id, false)
	}
	return err
}

// giveBack announces a unit again that is not with its worker any more.
func (r *Runner) giveBack(id work.ID, aside bool) {
	u := Unit{id.Search, id.Length, id.Index}
	r.mu.Lock()
	defer r.mu.Unlock()
	j := r.jobs[id.Search]
	if l := r.leases[u]; l != nil && l.epoch == id.Epoch {
		l.job.live.uncovered(l.covered)
		r.drop(u)
	}
	if aside {
		r.settle(j, u)
	} else {
		r.again(j, u)
	}
}

// expire takes units back from workers of which nothing was heard for too long.
func (r *Runner) expire(ctx context.Context) {
	now := time.Now()
	var late []work.ID
	r.mu.Lock()
	r.forget(now)
	for u, l := range r.leases {
		if !l.deadline.IsZero() && now.After(l.deadline) {
			late = append(late, work.ID{Search: u.Search, Length: u.Length, Index: u.Index, Epoch: l.epoch})
		}
	}
	r.mu.Unlock()
	for _, id := range late {
		l, err := r.store.LoseUnit(ctx, id.Search, id.Length, id.Index, id.Epoch)
		if err != nil && !errors.Is(err, storage.ErrStale) && !errors.Is(err, storage.ErrNotFound) {
			r.log.Error("a unit could not be taken back yet", "unit", id, "error", err)
			continue
		}
		r.log.Warn("nothing is heard of a worker: its unit goes to another", "unit", id)
		r.count(func(n *Counts) { n.Lost++ })
		if l.Aside {
			r.alarm(ctx, id.Search, fmt.Sprintf("unit %d of length %d was set aside: it was lost %d times", id.Index, id.Length, l.Lost))
		}
		r.giveBack(id, l.Aside)
	}
}

// engineOf gives the engine of a search, under way or not.
func (r *Runner) engineOf(ctx context.Context, id string) (engine.Engine, error) {
	s, err := r.store.Search(ctx, id)
	if err != nil {
		return nil, err
	}
	return r.engines.Of(s.Spec)
}

// ShortWaits tells whether units of short questions may wait.
func (r *Runner) ShortWaits() bool { return r.urgent.Load() > 0 }
