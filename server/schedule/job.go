package schedule

import (
	"context"
	"errors"
	"fmt"
	"time"

	"turnwright/server/engine"
	"turnwright/storage"
)

// job is a search under way. What is below the line is guarded by the runner's lock.
type job struct {
	id     string
	search storage.Search // as it was when the job began
	parent context.Context
	ctx    context.Context
	stop   context.CancelCauseFunc
	live   *live
	engine engine.Engine

	// ---
	short  bool          // it was last given a worker as a short question
	stint  time.Duration // of cores, since it is under way
	leased int           // units that are with workers
	tables []string      // keys of those that it needs, once that is known
	stage  *openStage    // nil between stages
}

// openStage is a stage whose units are being done.
type openStage struct {
	length  int
	missing map[int]bool // units that are neither done nor set aside
	feed    []int        // of these, those that were not offered yet
	out     int          // offered or leased
	urgent  bool         // it counts as a short question's
	done    chan struct{}
	failed  chan error // what stops the job; room for one
}

// offered is how many units of a stage are offered or leased at once, at most: a
// length can have a million.
const offered = 1024

func (r *Runner) newJob(ctx context.Context, s storage.Search) *job {
	j := &job{id: s.ID, search: s, parent: ctx, live: &live{}}
	j.ctx, j.stop = context.WithCancelCause(ctx)
	return j
}

// errOver is why what belongs to a job stops when the job has come to its end.
var errOver = errors.New("the job is over")

// finish lets go of everything that belongs to a job.
func (r *Runner) finish(j *job) {
	j.stop(errOver) // the first cause stays
	r.mu.Lock()
	r.closeStage(j)
	r.mu.Unlock()
}

// steps does a search from where it is.
func (r *Runner) steps(j *job, s storage.Search) error {
	if s.State == storage.Queued {
		if _, err := r.store.Move(j.ctx, storage.Request{}, j.id, storage.Preparing, storage.Detail{}); err != nil {
			return err
		}
		r.hub.tell(j.id)
	}
	e, err := r.engines.Of(s.Spec)
	if err != nil {
		return err
	}
	j.engine = e
	found, err := e.AtOnce()
	if err != nil {
		return err
	}
	var prepared *storage.Tables
	if found == nil {
		tables, err := r.prepare(j)
		if err != nil {
			return err
		}
		prepared = &tables
	}
	j.live.phase(phaseNone)
	if s.State != storage.Running {
		if _, err := r.store.Move(j.ctx, storage.Request{}, j.id, storage.Running, storage.Detail{Tables: prepared}); err != nil {
			return err
		}
	}
	r.hub.tell(j.id)
	if found == nil {
		if err := r.lengths(j, s); err != nil {
			return err
		}
	}
	_, err = r.store.Move(j.ctx, storage.Request{}, j.id, storage.Done, storage.Detail{Found: found})
	return err
}

// prepare has every table made once, and tells what was done.
func (r *Runner) prepare(j *job) (storage.Tables, error) {
	start := time.Now()
	out := storage.Tables{Cached: true}
	all := j.engine.Tables()
	total := uint64(0)
	for _, t := range all {
		total += t.Entries
	}
	j.live.tables(total)
	r.mu.Lock()
	for _, t := range all {
		j.tables = append(j.tables, t.Key)
	}
	hush := j.short && building(kindOf(j.search.Spec), total) <= r.policy.Short
	r.mu.Unlock()
	if hush {
		defer r.hush.begin()()
	}
	for i, t := range all {
		content, cached, release, err := r.shelf.Take(j.ctx, t, &watch{live: j.live})
		if err != nil {
			return out, err
		}
		j.engine.Note(&out, i, content)
		out.Cached = out.Cached && cached
		release()
	}
	out.Elapsed = time.Since(start)
	if !out.Cached {
		r.chargeTables(j, out.Elapsed)
	}
	return out, nil
}

// lengths does the lengths that are not proven yet, until there are no more or
// enough was found.
func (r *Runner) lengths(j *job, s storage.Search) error {
	if s.Proven == len(s.Lengths) && j.engine.Enough(s) {
		return nil // it died just before its end
	}
	for length := s.Proven + 1; length <= s.Spec.Lengths(); length++ {
		enough, err := r.length(j, length)
		if err != nil || enough {
			return err
		}
		r.hub.tell(j.id)
	}
	now, err := r.store.Search(j.ctx, j.id)
	if err != nil {
		return err
	}
	for _, l := range now.Lengths {
		if l.Done < l.Units && l.Unproven {
			return fmt.Errorf("%d units could not be done; the alarms say why. What was found stays", l.Units-l.Done)
		}
		if l.Done < l.Units {
			return fmt.Errorf("%d units of length %d could not be done, so nothing is proven from there on; the alarms say why. What was found stays",
				l.Units-l.Done, l.Length)
		}
	}
	return nil
}

// length has those units of a length done that are not in yet, stage by stage,
// and tells whether the search is over.
func (r *Runner) length(j *job, length int) (enough bool, err error) {
	plan, stages := j.engine.Plan(length)
	now, err := r.store.BeginLength(j.ctx, j.id, plan)
	if err != nil {
		return false, err
	}
	begun := now.Lengths[length-1]
	j.live.begin(begun)
	defer func() {
		if len(now.Lengths) >= length {
			r.count(func(n *Counts) { n.finished(begun, now.Lengths[length-1]) })
		}
	}()
	for _, stage := range stages {
		if err := r.stage(j, length, stage); err != nil {
			return false, err
		}
		if now, err = r.store.Search(j.ctx, j.id); err != nil {
			return false, err
		}
		if j.engine.Enough(now) {
			return true, nil
		}
	}
	return false, nil
}

// missing gives the units of a stage that are neither in nor set aside, and what is
// known of units that are not in.
func (r *Runner) missing(j *job, length int, s engine.Stage) (missing []int, leases map[int]storage.Lease, err error) {
	done, err := r.store.DoneUnits(j.ctx, j.id, length)
	if err != nil {
		return nil, nil, err
	}
	if leases, err = r.store.Leases(j.ctx, j.id, length); err != nil {
		return nil, nil, err
	}
	for index := s.First; index < s.Last; index++ {
		if !done[index] && !leases[index].Aside {
			missing = append(missing, index)
		}
	}
	return missing, leases, nil
}

// stage has the units of a stage done that are missing.
func (r *Runner) stage(j *job, length int, s engine.Stage) error {
	missing, leases, err := r.missing(j, length, s)
	if err != nil || len(missing) == 0 {
		return err
	}
	if s.Local {
		for _, index := range missing {
			if err := r.doLocal(j, length, index); err != nil {
				return err
			}
		}
		return nil
	}
	if r.opt.Slots > 0 { // all slots will want these: held, they are fetched once
		all := j.engine.Tables()
		for _, i := range j.engine.Needs(length, missing[0]) {
			_, _, release, err := r.shelf.Take(j.ctx, all[i], &watch{live: j.live})
			if err != nil {
				return err
			}
			defer release()
		}
		// Meanwhile workers that an earlier process knew may have brought some.
		if missing, leases, err = r.missing(j, length, s); err != nil || len(missing) == 0 {
			return err
		}
	}
	j.live.phase(phaseSearching)
	open := r.openStage(j, length, missing, leases)
	defer func() {
		r.mu.Lock()
		r.closeStage(j)
		r.mu.Unlock()
	}()
	select {
	case <-open.done:
		return nil
	case err := <-open.failed:
		return err
	case <-j.ctx.Done():
		return context.Cause(j.ctx)
	}
}

// openStage announces the units of a stage. Those that a worker in another
// process has keep their leases, with all their time.
func (r *Runner) openStage(j *job, length int, missing []int, leases map[int]storage.Lease) *openStage {
	open := &openStage{
		length: length, missing: map[int]bool{},
		done: make(chan struct{}), failed: make(chan error, 1),
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, index := range missing {
		open.missing[index] = true
		if l := leases[index]; l.Worker != "" && l.Worker != ownName {
			r.keepLease(j, Unit{j.id, length, index}, l.Worker, l.Epoch)
			open.out++
			continue
		}
		open.feed = append(open.feed, index)
	}
	j.stage = open
	if j.short {
		r.urgent.Add(1)
		open.urgent = true
	}
	r.offer(j)
	r.touch(j)
	return open
}

// offer announces more units if few are out. The caller holds the lock.
func (r *Runner) offer(j *job) {
	var units []Unit
	for len(j.stage.feed) > 0 && j.stage.out < offered {
		units = append(units, Unit{j.id, j.stage.length, j.stage.feed[0]})
		j.stage.feed = j.stage.feed[1:]
		j.stage.out++
	}
	if len(units) == 0 {
		return
	}
	r.dispatcher.Offer(units...)
}

// closeStage takes back what was announced and not begun, and all leases. The
// caller holds the lock.
func (r *Runner) closeStage(j *job) {
	if j.stage == nil {
		return
	}
	if j.stage.urgent {
		r.urgent.Add(-1)
	}
	j.stage = nil
	r.dispatcher.Forget(j.id)
	for unit, l := range r.leases {
		if l.job == j {
			r.drop(unit)
		}
	}
	r.touch(j)
}

// touch tells the policy that something changed about a job. The caller holds the lock.
func (r *Runner) touch(j *job) {
	if k := r.known[j.id]; k != nil && k.job == j {
		r.put(k)
	}
}

// waitsFor tells whether a unit is of the job's open stage, and neither done nor set aside. A
// job that is not there waits for none. The caller holds the lock.
func (j *job) waitsFor(u Unit) bool {
	return j != nil && j.stage != nil && j.stage.length == u.Length && j.stage.missing[u.Index]
}

// settle takes note that a unit of an open stage is done or set aside, and tells
// whether it was waited for. The caller holds the lock.
func (r *Runner) settle(j *job, u Unit) bool {
	if !j.waitsFor(u) {
		return false
	}
	delete(j.stage.missing, u.Index)
	j.stage.out--
	defer r.touch(j)
	if len(j.stage.missing) == 0 {
		close(j.stage.done)
		return true
	}
	r.offer(j)
	return true
}

// again announces a unit once more. The caller holds the lock.
func (r *Runner) again(j *job, u Unit) {
	if !j.waitsFor(u) {
		return
	}
	r.dispatcher.Offer(u)
	r.touch(j)
}

// doLocal does a unit here and now that needs the store.
func (r *Runner) doLocal(j *job, length, index int) error {
	report, err := j.engine.Run(j.ctx, engine.Work{
		Length: length, Index: index, Progress: j.live.covered,
		Known: func(ctx context.Context, length int) ([]string, error) { return r.sequences(ctx, j.id, length) },
	})
	if err != nil {
		return err
	}
	unit, err := j.engine.Accept(report)
	if err != nil {
		return err
	}
	committed, err := r.store.CommitUnit(j.ctx, j.id, unit)
	if err != nil {
		return err
	}
	r.count(func(n *Counts) { n.stored(committed.Search.Spec, unit) })
	j.live.unit()
	r.hub.tell(j.id)
	return nil
}

// sequences gives those of a length that a search has found.
func (r *Runner) sequences(ctx context.Context, id string, length int) ([]string, error) {
	var texts []string
	for f, err := range storage.AllFindings(ctx, r.store, id) {
		if err != nil {
			return nil, err
		}
		if f.Length == length {
			texts = append(texts, f.Text)
		}
	}
	return texts, nil
}

// errGivesWay is why a job stops that will go on later.
var errGivesWay = errors.New("the search gives way to another")
