package schedule

import (
	"errors"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"turnwright/server/work"
)

// Worker is who does units: a process with so many slots.
type Worker struct {
	Name     string
	Instance string // tells processes apart that had the same name
	Version  string
	Host     string // boot id
	Slots    int
}

// Attendance is what is known of a worker.
type Attendance struct {
	Worker
	First, Seen time.Time
	Draining    bool
	Units       []work.ID // that it has
	Done        uint64    // units that it brought back
	Speed       float64   // of a core of it, lately; 0 if not known
}

type attendance struct {
	Attendance
	speed speeds
}

// Times of workers of which nothing is heard.
const (
	lately    = 5 * time.Second  // another process must not take the name
	forgotten = 10 * time.Minute // after that it is not listed any more
)

// maxWorkers is how many workers are kept, at most.
const maxWorkers = 4096

// ErrNameTaken says that another process has the name of the worker.
var ErrNameTaken = errors.New("another process has this name, and was heard of lately: choose another with --name")

// ErrTooMany says that there are more workers than can be kept.
var ErrTooMany = fmt.Errorf("there are %d workers already", maxWorkers)

// Attend takes note that something is heard of a worker, and tells whether it is to
// finish what it has and end.
func (r *Runner) Attend(w Worker) (drain bool, err error) {
	now := time.Now()
	r.mu.Lock()
	defer r.mu.Unlock()
	a := r.workers[w.Name]
	switch {
	case a == nil && len(r.workers) >= maxWorkers:
		return false, ErrTooMany
	case w.Name == ownName, a != nil && a.Instance != w.Instance && now.Sub(a.Seen) < lately:
		return false, ErrNameTaken
	case a == nil || a.Instance != w.Instance:
		a = &attendance{Attendance: Attendance{First: now}}
		r.workers[w.Name] = a
	}
	a.Worker, a.Seen = w, now
	return a.Draining, nil
}

// Drain has a worker finish what it has and end. It tells whether there is such a worker.
func (r *Runner) Drain(name string) (Attendance, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	a := r.workers[name]
	if a == nil {
		return Attendance{}, false
	}
	a.Draining = true
	return r.tell(a), true
}

// Workers lists the workers that were heard of lately, this process's own slots first.
func (r *Runner) Workers() []Attendance {
	r.mu.Lock()
	defer r.mu.Unlock()
	var out []Attendance
	for _, a := range r.workers {
		out = append(out, r.tell(a))
	}
	slices.SortFunc(out, func(a, b Attendance) int { return strings.Compare(a.Name, b.Name) })
	if r.opt.Slots == 0 {
		return out
	}
	own := &attendance{Attendance: Attendance{
		Worker: Worker{Name: ownName, Slots: r.opt.Slots, Host: r.opt.Host, Version: r.opt.Version},
		First:  r.began, Seen: time.Now(), Done: r.ownDone,
	}}
	own.speed.perSec = r.speeds.read()
	return append([]Attendance{r.tell(own)}, out...)
}

// tell fills in what follows. The caller holds the lock.
func (r *Runner) tell(a *attendance) Attendance {
	out := a.Attendance
	for u, l := range r.leases {
		if l.worker == a.Name {
			out.Units = append(out.Units, work.ID{Search: u.Search, Length: u.Length, Index: u.Index, Epoch: l.epoch})
		}
	}
	slices.SortFunc(out.Units, func(a, b work.ID) int { return strings.Compare(a.String(), b.String()) })
	out.Speed = slices.Max(func() []float64 { s := a.speed.read(); return s[:] }())
	return out
}

// forget drops workers of which nothing was heard for long. The caller holds the lock.
func (r *Runner) forget(now time.Time) {
	for name, a := range r.workers {
		if now.Sub(a.Seen) > forgotten {
			delete(r.workers, name)
		}
	}
}

// heard gives the workers in other processes that were heard of while their units
// are theirs. The caller holds the lock.
func (r *Runner) heard() iter.Seq[*attendance] {
	return func(yield func(*attendance) bool) {
		for _, a := range r.workers {
			if time.Since(a.Seen) < r.opt.Lease && !yield(a) {
				return
			}
		}
	}
}

// slots counts the units that are done at once by all. The caller holds the lock.
func (r *Runner) slots() int {
	n := r.opt.Slots
	for a := range r.heard() {
		if !a.Draining {
			n += a.Slots
		}
	}
	return n
}

// others tells whether workers in other processes of this host were heard of
// lately. The caller holds the lock.
func (r *Runner) others() bool {
	for a := range r.heard() {
		if a.Host == r.opt.Host {
			return true
		}
	}
	return false
}

// credit notes what a worker brought back. The caller holds the lock.
func (r *Runner) credit(worker string, k searchKind, covered uint64, took time.Duration) {
	if worker == ownName {
		r.ownDone++
		return
	}
	if a := r.workers[worker]; a != nil {
		a.Done++
		a.speed.note(k, covered, took)
	}
}
