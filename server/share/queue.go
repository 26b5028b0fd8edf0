package share

import (
	"cmp"
	"iter"
	"maps"
	"math"
	"slices"
	"strings"
	"time"
)

// Queue holds the searches that have not ended, in an order in which a choice looks
// at few of them. It says nothing but what follows from the candidates as they were put
// last, from the accounts and from the time.
//
// It is not safe for concurrent use.
type Queue struct {
	policy   Policy
	accounts *Accounts
	weights  map[string]float64

	entries   map[string]*entry
	members   map[string]*member // who have entries
	active    sorted[*member]    // who have any that could be handed out
	loaded    sorted[*entry]
	deadlines sorted[*entry]
	ended     sorted[*entry] // by budget or size

	order []*member // room for ranked
}

// entry is a candidate with what follows from it.
type entry struct {
	Candidate
	member *member
	short  bool
	reason Reason // why it is over whatever the time, if not 0
}

// member is one member with their searches.
type member struct {
	name    string
	weight  float64
	entries int
	running int
	ready   sorted[*entry] // that could be handed out, unless their deadline has passed

	// As of the choice under way, in core-seconds by weight.
	used  float64
	busy  float64 // used, with the units that are out
	short float64 // of used, for short questions

	loaded bool // any of their searches is
}

// NewQueue makes an empty queue. The caller books on the accounts what is used.
func NewQueue(p Policy, a *Accounts) *Queue {
	byID := func(a, b *entry) int { return strings.Compare(a.ID, b.ID) }
	return &Queue{
		policy: p, accounts: a, weights: map[string]float64{},
		entries: map[string]*entry{}, members: map[string]*member{},
		active: sorted[*member]{compare: func(a, b *member) int { return strings.Compare(a.name, b.name) }},
		loaded: sorted[*entry]{compare: byID},
		ended:  sorted[*entry]{compare: byID},
		deadlines: sorted[*entry]{compare: func(a, b *entry) int {
			return cmp.Or(a.Deadline.Compare(b.Deadline), strings.Compare(a.ID, b.ID))
		}},
	}
}

// within is the order of one member's own searches.
func within(a, b *entry) int {
	switch {
	case a.short && !b.short:
		return -1
	case b.short && !a.short:
		return 1
	}
	return cmp.Or(cmp.Compare(b.Priority, a.Priority), a.Submitted.Compare(b.Submitted), strings.Compare(a.ID, b.ID))
}

// Weigh gives a member a weight: one of weight 2 gets twice the share of one of
// weight 1, which is what members have who were given none. What is not a finite number
// above zero counts as 1.
func (q *Queue) Weigh(member string, weight float64) {
	if !(weight > 0) || math.IsInf(weight, 0) {
		weight = 1
	}
	if q.weights[member] = weight; weight == 1 {
		delete(q.weights, member)
	}
	if m := q.members[member]; m != nil {
		m.weight = weight
	}
}

// Set changes the policy: workers come and go.
func (q *Queue) Set(p Policy) {
	q.policy = p
	for _, e := range slices.Collect(maps.Values(q.entries)) {
		q.Put(e.Candidate)
	}
}

// Put adds a candidate, or says what is true of it now. Numbers out of their range are
// taken as the nearest in it.
func (q *Queue) Put(c Candidate) {
	c.Priority = min(max(c.Priority, LeastPriority), MostPriority)
	c.Deadline = c.Deadline.Round(0)
	c.Running, c.Ready, c.Tables = max(c.Running, 0), max(c.Ready, 0), max(c.Tables, 0)
	q.Remove(c.ID)
	m := q.members[c.Member]
	if m == nil {
		m = &member{name: c.Member, weight: 1, ready: sorted[*entry]{compare: within}}
		if w, ok := q.weights[c.Member]; ok {
			m.weight = w
		}
		q.members[c.Member] = m
	}
	e := &entry{Candidate: c, member: m, short: q.policy.short(c)}
	e.reason, _ = q.policy.over(&c, time.Time{})
	q.entries[c.ID] = e
	m.entries++
	m.running += c.Running
	if c.Ready > 0 && !c.Paused && e.reason == 0 {
		m.ready.add(e)
		q.active.add(m)
	}
	if c.Loaded {
		q.loaded.add(e)
	}
	if !c.Deadline.IsZero() {
		q.deadlines.add(e)
	}
	if e.reason != 0 {
		q.ended.add(e)
	}
}

// Remove takes a search away, if it is there: it ended, and its tables are dropped. Until
// they are it counts for the memory, and is put as Paused, without deadline and budget.
func (q *Queue) Remove(id string) {
	e := q.entries[id]
	if e == nil {
		return
	}
	m := e.member
	m.ready.remove(e)
	if len(m.ready.all) == 0 {
		q.active.remove(m)
	}
	q.loaded.remove(e)
	q.deadlines.remove(e)
	q.ended.remove(e)
	delete(q.entries, id)
	m.running -= e.Running
	if m.entries--; m.entries == 0 {
		delete(q.members, m.name)
	}
}

// Over gives the searches that are to be ended at a moment and were not removed yet,
// by id. A paused one has its deadline too.
func (q *Queue) Over(now time.Time) []Over {
	var out []Over
	for _, e := range q.ended.all {
		if !passed(e.Deadline, now) {
			out = append(out, Over{e.ID, e.reason})
		}
	}
	for _, e := range q.deadlines.all {
		if !passed(e.Deadline, now) {
			break
		}
		out = append(out, Over{e.ID, DeadlinePassed})
	}
	slices.SortFunc(out, func(a, b Over) int { return strings.Compare(a.ID, b.ID) })
	return out
}

// Deadline is the next moment at which a search ends by its deadline, zero if none does.
func (q *Queue) Deadline() time.Time {
	if len(q.deadlines.all) == 0 {
		return time.Time{}
	}
	return q.deadlines.all[0].Deadline
}

// read works out for a choice what members used.
func (q *Queue) read(now time.Time) {
	fade := q.accounts.fade(q.accounts.clock.read(now))
	read := func(m *member) {
		m.used, m.short, m.loaded = 0, 0, false
		if a := q.accounts.members[m.name]; a != nil {
			m.used, m.short = a.used*fade/m.weight, a.short*fade/m.weight
		}
		m.busy = m.used + float64(m.running)*q.policy.Unit/m.weight
	}
	for _, m := range q.active.all {
		read(m)
	}
	for _, e := range q.loaded.all {
		read(e.member)
	}
	for _, e := range q.loaded.all {
		e.member.loaded = true
	}
}

// before is the order of members: who used least, with the units that are out. Where
// that is equal, as it is at first, whose first search is older.
func before(a, b *member) int {
	return cmp.Or(cmp.Compare(a.busy, b.busy), a.ready.all[0].Submitted.Compare(b.ready.all[0].Submitted),
		strings.Compare(a.name, b.name))
}

// rank is the order of all candidates that could be handed out.
func rank(a, b *entry) int {
	if a.member == b.member {
		return within(a, b)
	}
	return before(a.member, b.member)
}

// ranked gives the active members that are wanted, in their order. It is lazy,
// as a choice mostly looks at the first: a heap.
func (q *Queue) ranked(wanted func(*member) bool) iter.Seq[*member] {
	return func(yield func(*member) bool) {
		h := q.order[:0]
		for _, m := range q.active.all {
			if wanted(m) {
				h = append(h, m)
			}
		}
		q.order = h
		for i := len(h)/2 - 1; i >= 0; i-- {
			sift(h, i)
		}
		for len(h) > 0 {
			if !yield(h[0]) {
				return
			}
			last := len(h) - 1
			h[0] = h[last]
			h = h[:last]
			sift(h, 0)
		}
	}
}

// candidates gives what could be handed out of the members that are wanted, in the
// order of rank.
func (q *Queue) candidates(wanted func(*member) bool) iter.Seq[*entry] {
	return func(yield func(*entry) bool) {
		for m := range q.ranked(wanted) {
			for _, e := range m.ready.all {
				if !yield(e) {
					return
				}
			}
		}
	}
}

// sift lets the member at i sink to its place in a heap.
func sift(h []*member, i int) {
	for {
		least := i
		for child := 2*i + 1; child <= 2*i+2 && child < len(h); child++ {
			if before(h[child], h[least]) < 0 {
				least = child
			}
		}
		if least == i {
			return
		}
		h[i], h[least] = h[least], h[i]
		i = least
	}
}
