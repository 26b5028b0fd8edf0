package schedule

import (
	"context"
	"errors"
	"math"
	"runtime"
	"slices"
	"time"

	"turnwright/server/share"
	"turnwright/storage"
)

// known is a search that has not ended and is not paused. The runner's lock guards it.
type known struct {
	search    storage.Search // as it was last seen
	job       *job           // nil while it is not under way
	notBefore time.Time      // it is not begun earlier, after an error of the store
	question  [16]byte       // what it asks
	copied    mark           // of the search that it follows
}

// enter takes note of a search, or of what became of it. The caller holds the lock.
func (r *Runner) enter(s storage.Search) {
	k := r.known[s.ID]
	switch {
	case k == nil && (s.State.Ended() || s.State == storage.Paused):
		r.leave(s)
		return
	case k == nil:
		k = &known{question: s.Spec.Question()}
		r.known[s.ID] = k
		r.equal[k.question] = append(r.equal[k.question], s.ID)
	case k.search.Number != s.Number: // the id came back before the job of the first was gone
		r.unequal(k)
		k.question, k.copied = s.Spec.Question(), mark{}
		r.equal[k.question] = append(r.equal[k.question], s.ID)
	}
	k.search = s
	r.put(k)
}

// leave forgets a search; but one that is paused still ends when its time or budget is over. The
// caller holds the lock.
func (r *Runner) leave(s storage.Search) {
	if k := r.known[s.ID]; k != nil {
		delete(r.known, s.ID)
		r.unequal(k)
	}
	if s.State == storage.Paused {
		r.queue.Put(share.Candidate{
			ID: s.ID, Member: s.Owner, Paused: true,
			Deadline: s.Wishes.StopAt, Budget: s.Wishes.CoreBudget.Seconds(), Used: s.Used.Seconds(),
		})
	} else {
		r.queue.Remove(s.ID)
	}
	r.bump()
}

// unequal takes a search from among those that ask the same. The caller holds the lock.
func (r *Runner) unequal(k *known) {
	rest := slices.DeleteFunc(r.equal[k.question], func(other string) bool { return other == k.search.ID })
	if r.equal[k.question] = rest; len(rest) == 0 {
		delete(r.equal, k.question)
	} else if next := r.known[rest[0]]; next.job == nil {
		r.put(next) // it leads now
	}
}

// guessedSpeed is the leaves a second of a core that are taken as long as none was measured.
const guessedSpeed = 5e7

// buildSpeed is how many words, positions or pairs of a table a core makes in a second, about.
var buildSpeed = [kinds]float64{kindCycles: 2e7, kindPosition: 2e6, kindStructured: 2e7, kindStudy: 2e7}

// building is about how many core-seconds it takes to make so much of tables.
func building(k searchKind, entries uint64) float64 { return float64(entries) / buildSpeed[k] }

// put tells the policy what is true of a search. The caller holds the lock.
func (r *Runner) put(k *known) {
	s := &k.search
	c := share.Candidate{
		ID: s.ID, Member: s.Owner, Priority: s.Wishes.Priority, Submitted: s.Created,
		Remaining: r.remaining(k), Tables: min(s.Spec.Work.Tables, r.opt.Memory),
		Deadline: s.Wishes.StopAt, Budget: s.Wishes.CoreBudget.Seconds(), Used: s.Used.Seconds(),
	}
	if j := k.job; j == nil {
		if !time.Now().Before(k.notBefore) && r.leader(k) == k {
			c.Ready = 1
		}
	} else {
		c.Loaded, c.Stint, c.Paused = true, j.stint.Seconds(), j.ctx.Err() != nil
		if c.Paused { // it only has its tables still
			c.Deadline, c.Budget = time.Time{}, 0
		}
		c.Running = j.leased
		if j.stage == nil {
			c.Running++ // its tables are made, or a length is closed
		} else {
			c.Ready = len(j.stage.missing) - j.leased
		}
	}
	r.queue.Put(c)
	r.bump()
}

// bump wakes the workers that wait for a unit. The caller holds the lock.
func (r *Runner) bump() {
	close(r.news)
	r.news = make(chan struct{})
}

// remaining is about how many core-seconds a search has to go; NaN where nobody knows.
func (r *Runner) remaining(k *known) float64 {
	w := k.search.Spec.Work
	if w.Leaves == 0 {
		return math.NaN()
	}
	left := float64(w.Leaves)
	for _, l := range k.search.Lengths {
		left -= float64(l.Covered)
	}
	speed := r.speeds.of(kindOf(k.search.Spec))
	if speed == 0 {
		speed = guessedSpeed
	}
	seconds := max(0, left) / speed
	if k.job == nil {
		seconds += building(kindOf(k.search.Spec), w.Entries) // at most: they may be in the cache
	}
	return seconds
}

// next finds the unit that a worker does next, and begins searches that are to be
// loaded for it. The caller holds the lock.
func (r *Runner) next(t Taker) (Unit, bool) {
	for range 8 { // a search may be loaded each time
		now := time.Now()
		d := r.queue.Next(now, share.Worker{Holds: r.holds(t)})
		for _, id := range d.GiveWay {
			if j := r.known[id].job; j.leased == 0 && j.stage != nil {
				j.stop(errGivesWay)
			}
		}
		switch {
		case d.Search == "", t.Short && !d.Short:
			return Unit{}, false
		case d.Load:
			if !r.load(d, now) {
				return Unit{}, false
			}
			continue
		}
		u, ok := r.dispatcher.Take(d.Search)
		if ok {
			r.known[d.Search].job.short = d.Short
		}
		return u, ok
	}
	return Unit{}, false
}

// holds lists the searches under way whose tables a worker has; nil for workers of this
// host, who have those of all. The caller holds the lock.
func (r *Runner) holds(t Taker) []string {
	if !t.Elsewhere {
		return nil
	}
	ids := []string{}
	for id, j := range r.jobs {
		missing := func(key string) bool { return !slices.Contains(t.Tables, key) }
		if !slices.ContainsFunc(j.tables, missing) {
			ids = append(ids, id)
		}
	}
	return ids
}

// patience is for how long a search is to be the next before it is loaded while
// another is under way that is just between two stages.
const patience = 2 * time.Second

// load begins a search, unless it is better to wait a moment. The caller holds the lock.
func (r *Runner) load(d share.Decision, now time.Time) bool {
	for _, id := range d.GiveWay {
		if r.known[id].job != nil {
			return false // it is told, and tells when it is gone
		}
	}
	if r.advised != d.Search {
		r.advised, r.advisedAt = d.Search, now
	}
	if !d.Short && len(r.jobs) > 0 && now.Sub(r.advisedAt) < patience {
		for _, j := range r.jobs {
			if j.stage == nil || len(j.stage.missing) == j.leased {
				return false // it will soon have more to do
			}
		}
	}
	if r.ctx == nil || r.ctx.Err() != nil {
		return false
	}
	k := r.known[d.Search]
	k.job = r.newJob(r.ctx, k.search)
	k.job.short = d.Short
	r.jobs[d.Search] = k.job
	r.put(k)
	r.running.Go(func() { r.do(k.job) })
	return true
}

// admit begins what is to be loaded without a worker asking: a short question, while
// all are at long units; or whatever comes first, while no process works.
func (r *Runner) admit() {
	r.mu.Lock()
	defer r.mu.Unlock()
	if policy := share.Default(r.workersNow(), r.opt.Memory); policy != r.policy {
		r.policy = policy
		r.queue.Set(policy)
	}
	for _, k := range r.known {
		if !k.notBefore.IsZero() && !time.Now().Before(k.notBefore) {
			k.notBefore = time.Time{}
			r.put(k)
		}
	}
	for range 8 {
		now := time.Now()
		d := r.queue.Next(now, share.Worker{})
		if !d.Load || !r.load(d, now) {
			return
		}
	}
}

// over ends the searches whose time or budget is over.
func (r *Runner) over(ctx context.Context) {
	r.mu.Lock()
	over := r.queue.Over(time.Now())
	r.mu.Unlock()
	for _, o := range over {
		reason := storage.EndedByStopTime
		if o.Reason == share.BudgetUsed {
			reason = storage.EndedByBudget
		}
		_, err := r.store.Move(ctx, storage.Request{}, o.ID, storage.Cancelled, storage.Detail{Reason: reason})
		if err != nil && !errors.Is(err, storage.ErrNotFound) {
			r.log.Error("a search could not be ended", "search", o.ID, "error", err)
			continue
		}
		r.log.Info("search is over", "search", o.ID, "reason", reason)
		r.Changed(ctx, o.ID)
	}
}

// charge books what was worked for a search. The caller holds the lock.
func (r *Runner) charge(id string, took time.Duration, short bool) {
	k := r.known[id]
	if k == nil {
		return
	}
	r.accounts.Use(time.Now(), k.search.Owner, took.Seconds(), short)
	if k.job != nil {
		k.job.stint += took
	}
}

// chargeTables books the making of tables.
func (r *Runner) chargeTables(j *job, took time.Duration) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.charge(j.id, took*time.Duration(runtime.GOMAXPROCS(0)), j.short)
}

// shareEvery is how often accounts are stored: what a crash makes of them is no great harm.
const shareEvery = time.Minute

// keepShares stores the accounts.
func (r *Runner) keepShares(ctx context.Context) {
	r.mu.Lock()
	record := r.accounts.Record(time.Now())
	r.mu.Unlock()
	if err := r.store.KeepShares(ctx, record); err != nil && !errors.Is(err, storage.ErrDiskLow) {
		r.log.Warn("members' shares could not be stored", "error", err)
	}
}

// recallShares reads the accounts that an earlier process stored, and tells whether
// it came to that before ctx ended: what was not read must not be stored over.
func (r *Runner) recallShares(ctx context.Context) bool {
	var record share.Record
	err := r.store.Shares(ctx, &record)
	switch {
	case err == nil || errors.Is(err, storage.ErrNotFound):
		r.mu.Lock()
		defer r.mu.Unlock()
		r.accounts.Restore(time.Now(), record)
	case ctx.Err() != nil:
		return false
	default:
		r.log.Warn("members' shares can't be read and begin anew", "error", err)
	}
	return true
}

// workersNow is how many units are done at once, as the policy counts: there will be
// somebody. The caller holds the lock.
func (r *Runner) workersNow() int { return max(1, r.slots()) }
