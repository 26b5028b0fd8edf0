package share

import (
	"cmp"
	"container/heap"
	"math"
	"slices"
	"time"
)

// failer is what both a test and a property test can do.
type failer interface {
	Helper()
	Fatalf(format string, args ...any)
}

// job is a search on a host that is not there.
type job struct {
	Candidate
	units  int     // that are not in
	unit   float64 // seconds that one takes
	load   float64 // seconds that loading its tables takes
	unsure bool    // what remains is never known

	begun, ended time.Time
	why          Reason
	loads        int
}

// host does jobs in virtual time, with workers that ask the queue. It holds what it
// is told against what must never be.
type host struct {
	t        failer
	policy   Policy
	accounts *Accounts
	queue    *Queue
	jobs     map[string]*job    // that have not ended
	used     map[string]float64 // by member, never decayed

	now    time.Time     // true time
	skew   time.Duration // what the host's clock is ahead of it
	steps  steps
	serial int
	idle   []int // workers without work
	crash  func() bool
}

type step struct {
	at     time.Time
	serial int
	do     func()
}

type steps []step

func (s steps) Len() int { return len(s) }
func (s steps) Less(i, j int) bool {
	return cmp.Or(s[i].at.Compare(s[j].at), s[i].serial-s[j].serial) < 0
}
func (s steps) Swap(i, j int) { s[i], s[j] = s[j], s[i] }
func (s *steps) Push(x any)   { *s = append(*s, x.(step)) }
func (s *steps) Pop() any {
	last := len(*s) - 1
	x := (*s)[last]
	*s = (*s)[:last]
	return x
}

var evening = time.Date(2026, 11, 20, 22, 0, 0, 0, time.UTC)

const gib = 1 << 30

func newHost(t failer, workers int) *host {
	h := &host{
		t: t, policy: Default(workers, 8*gib), accounts: NewAccounts(time.Hour, 0),
		jobs: map[string]*job{}, used: map[string]float64{}, now: evening,
		crash: func() bool { return false },
	}
	h.queue = NewQueue(h.policy, h.accounts)
	for w := range workers {
		h.idle = append(h.idle, w)
	}
	return h
}

func (h *host) clock() time.Time { return h.now.Add(h.skew) }

func (h *host) after(seconds float64, do func()) {
	h.serial++
	heap.Push(&h.steps, step{h.now.Add(time.Duration(seconds * 1e9)), h.serial, do})
}

// submit puts a job with its units and the GiB of its tables.
func (h *host) submit(id, member string, units int, unit, tables float64, more ...func(*job)) *job {
	j := &job{units: units, unit: unit, load: 3 * tables}
	j.Candidate = Candidate{ID: id, Member: member, Submitted: h.clock(), Tables: int64(tables * gib), Ready: 1}
	for _, f := range more {
		f(j)
	}
	h.jobs[id] = j
	if !j.Deadline.IsZero() {
		h.after(j.Deadline.Sub(h.clock()).Seconds(), func() {})
	}
	h.put(j)
	return j
}

func (h *host) put(j *job) {
	j.Remaining = math.NaN()
	if !j.unsure {
		j.Remaining = float64(j.units) * j.unit
	}
	h.queue.Put(j.Candidate)
}

// run does what happens in so many seconds.
func (h *host) run(seconds float64) {
	end := h.now.Add(time.Duration(seconds * 1e9))
	for {
		h.dispatch()
		if len(h.steps) == 0 || h.steps[0].at.After(end) {
			h.now = end
			return
		}
		s := heap.Pop(&h.steps).(step)
		h.now = s.at
		s.do()
	}
}

func (h *host) dispatch() {
	for _, over := range h.queue.Over(h.clock()) {
		h.end(h.jobs[over.ID], over.Reason)
	}
	for again := true; again; {
		again = false
		for _, w := range slices.Clone(h.idle) {
			d := h.queue.Next(h.clock(), Worker{})
			for _, id := range d.GiveWay {
				if j := h.jobs[id]; j.Loaded && j.Running == 0 {
					j.Loaded, j.Ready = false, 1
					h.put(j)
					again = true
				}
			}
			if d.Search != "" {
				h.idle = slices.DeleteFunc(h.idle, func(i int) bool { return i == w })
				h.work(w, h.jobs[d.Search], d)
			}
		}
	}
}

// work has a worker do one unit, or load the tables.
func (h *host) work(w int, j *job, d Decision) {
	if j == nil || j.Ready == 0 || j.Paused || !j.ended.IsZero() || d.Load == j.Loaded {
		h.t.Fatalf("%+v is given, but there is %+v", d, j)
	}
	j.Running++
	took := j.unit
	if d.Load {
		j.Loaded, j.Stint, j.Ready = true, 0, 0
		j.loads++
		took = j.load
	} else {
		j.Ready--
		if j.begun.IsZero() {
			j.begun = h.now
		}
	}
	h.put(j)
	h.fits()
	crashed := !d.Load && h.crash()
	h.after(took, func() {
		h.idle = append(h.idle, w)
		slices.Sort(h.idle)
		j.Running--
		if !j.ended.IsZero() {
			return
		}
		switch {
		case d.Load:
			j.Ready = j.units
		case crashed:
			j.Ready++
		default:
			j.units--
		}
		if !crashed {
			j.Used, j.Stint = j.Used+took, j.Stint+took
			h.used[j.Member] += took
			h.accounts.Use(h.clock(), j.Member, took, d.Short)
		}
		if h.put(j); j.units == 0 && j.Running == 0 {
			h.end(j, 0)
		}
	})
}

func (h *host) end(j *job, why Reason) {
	j.ended, j.why = h.now, why
	h.queue.Remove(j.ID)
	delete(h.jobs, j.ID)
}

// fits holds what is loaded against the memory.
func (h *host) fits() {
	sum := int64(0)
	for _, j := range h.jobs {
		if j.Loaded {
			sum += j.Tables
		}
	}
	if sum > h.policy.Memory+h.policy.Reserve {
		h.t.Fatalf("%d bytes of tables are loaded", sum)
	}
}

func (j *job) took() float64 { return j.ended.Sub(j.Submitted).Seconds() }
