package share

import (
	"cmp"
	"iter"
	"math"
	"slices"
	"strings"
	"time"
)

// Next decides what a worker does. Nothing changes by it but the clock of the
// accounts: the caller puts the candidate that was chosen again, with its unit out. The same
// candidates, accounts and times give the same decision, in whatever order they were put.
func (q *Queue) Next(now time.Time, w Worker) Decision {
	q.read(now)
	c := q.newChoice(now, w)
	d := c.byShare(q.candidates)
	if short := c.shortQuestion(); short != nil {
		first := Decision{Search: short.ID, Load: !short.Loaded, Short: true}
		if d.Waiting != "" { // the room that is being made goes on being made
			first.GiveWay, first.Waiting = d.GiveWay, d.Waiting
		}
		return first
	}
	return d
}

// choice is one decision in the making.
type choice struct {
	q      *Queue
	now    time.Time
	worker Worker

	// Of active members: who used least, and what the others used least.
	least  *member
	lowest float64
	second float64

	long, short int64    // bytes of the tables that are loaded, by what their searches are
	leaving     []*entry // that give way, and get nothing
	waiting     *entry   // for which they do, or which waits for others to end

	held  *entry // the first that the worker could go on with
	leads bool   // and no long search of its member comes before it
}

func (q *Queue) newChoice(now time.Time, w Worker) *choice {
	c := &choice{q: q, now: now, worker: w, lowest: math.Inf(1), second: math.Inf(1)}
	for _, m := range q.active.all {
		if m.used < c.lowest {
			c.least, c.lowest, c.second = m, m.used, c.lowest
		} else {
			c.second = min(c.second, m.used)
		}
	}
	for _, e := range q.loaded.all {
		if e.short {
			c.short += e.Tables
		} else {
			c.long += e.Tables
		}
	}
	c.shrink()
	for _, e := range q.loaded.all {
		if c.holds(e) && c.available(e) && (c.held == nil || rank(e, c.held) < 0) {
			c.held = e
		}
	}
	c.leads = c.held != nil && c.firstLong(c.held.member) == c.held
	return c
}

// firstLong is the first in a member's own order of what is not a short question.
func (c *choice) firstLong(m *member) *entry {
	for _, e := range m.ready.all {
		if !e.short && c.available(e) {
			return e
		}
	}
	return nil
}

// available tells whether a search may be handed out, if its tables have room.
func (c *choice) available(e *entry) bool {
	return e.Ready > 0 && !e.Paused && !c.over(e) && !slices.Contains(c.leaving, e)
}

func (c *choice) over(e *entry) bool { return e.reason != 0 || passed(e.Deadline, c.now) }

// holds tells whether the worker has the tables of a search in memory.
func (c *choice) holds(e *entry) bool {
	return e.Loaded && (c.worker.Holds == nil || slices.Contains(c.worker.Holds, e.ID))
}

// favoured tells whether short questions of a member go first. They do until the
// member is ahead of the others by more than an allowance that went into short questions.
// What long searches took does not count here: they never went first.
func (c *choice) favoured(m *member) bool {
	others := c.lowest
	if m == c.least {
		others = c.second
	}
	return min(m.used-others, m.short) <= c.q.policy.allowance()
}

// shortQuestion is the short question that goes first, nil if there is none or if
// tables have no room for any.
func (c *choice) shortQuestion() *entry {
	for m := range c.q.ranked(func(m *member) bool { return m.ready.all[0].short && c.favoured(m) }) {
		for _, e := range m.ready.all {
			if !e.short {
				break
			}
			if c.available(e) && (e.Loaded || c.fits(e)) {
				return e
			}
		}
	}
	return nil
}

// byShare decides by the members' shares. candidates gives what could be handed out of
// the members that are wanted, in its order.
func (c *choice) byShare(candidates func(wanted func(*member) bool) iter.Seq[*entry]) Decision {
	e := c.pick(candidates(func(*member) bool { return true }))
	if e == nil && c.waiting != nil {
		// Nothing is loaded now but short questions, and what its own member's gives way to.
		e = c.pick(candidates(func(m *member) bool {
			return m.loaded || m == c.waiting.member || m.ready.all[0].short && !c.favoured(m)
		}))
	}
	return c.give(e)
}

// pick gives the first of the candidates that can be given. It gives none as soon as
// it finds the one that has to wait for room.
//
// What comes in a member's own order after one that waits is given only where the
// worker would have nothing to do: it would use up the share by which the other gets room.
func (c *choice) pick(candidates iter.Seq[*entry]) *entry {
	waited := c.waiting != nil
	var spare *entry
	var waits *member
	for e := range candidates {
		switch {
		case !c.available(e):
		case e.member == waits:
			if spare == nil && (e.Loaded || c.fits(e)) {
				spare = e
			}
		case c.holds(e):
			return e
		case c.keeps(e):
			return c.held
		case e.Loaded, c.fits(e), c.makeRoom(e):
			return e
		case !waited && c.waiting != nil:
			return nil
		case c.waiting != nil && !c.reserved(e):
			waits = e.member
		}
	}
	return spare
}

// reserved tells whether a search is a short question that needs no more room than
// the reserve: one before it will be over soon.
func (c *choice) reserved(e *entry) bool { return e.short && e.Tables <= c.q.policy.Reserve }

// give is the decision for a search, nil for none.
func (c *choice) give(e *entry) Decision {
	var d Decision
	for _, l := range c.leaving {
		d.GiveWay = append(d.GiveWay, l.ID)
	}
	slices.Sort(d.GiveWay)
	if c.waiting != nil && c.waiting != e {
		d.Waiting = c.waiting.ID
	}
	if e != nil {
		d.Search, d.Load, d.Short = e.ID, !e.Loaded, e.short
	}
	return d
}

// keeps tells whether the worker goes on with what it holds, though another
// member's search comes before it.
func (c *choice) keeps(other *entry) bool {
	h := c.held
	return h != nil && c.leads && !h.short && !slices.Contains(c.leaving, h) && c.hasStint(h, other)
}

// hasStint tells whether a search that is loaded need not give way to another's.
func (c *choice) hasStint(e, other *entry) bool {
	quantum := c.q.policy.quantum()
	return e.member != other.member && e.Stint < quantum && e.member.used-other.member.used < quantum
}

// fits tells whether there is room for the tables of a search that is not loaded. While
// another waits for room nobody takes it away, except that short questions have the
// reserve, and that a member's searches give way to their own at any time.
func (c *choice) fits(e *entry) bool {
	p := c.q.policy
	if c.long+c.short+e.Tables > p.Memory+p.Reserve {
		return false
	}
	if e.short && c.short+e.Tables <= p.Reserve {
		return true
	}
	if c.waiting != nil && (c.waiting.member != e.member || len(c.leaving) > 0) {
		return false
	}
	return e.short || c.long+e.Tables <= p.Memory
}

// makeRoom sees to it that the first search that does not fit will. It tells
// whether it can be loaded as soon as those that give way are dropped.
func (c *choice) makeRoom(e *entry) bool {
	p := c.q.policy
	if c.waiting != nil {
		return false
	}
	if c.reserved(e) && slices.ContainsFunc(c.q.loaded.all, func(l *entry) bool { return l.short && !c.idle(l) }) {
		return false
	}
	c.waiting = e
	long, short := c.long, c.short
	drop := func(l *entry) {
		if l.short {
			short -= l.Tables
		} else {
			long -= l.Tables
		}
	}
	enough := func() bool {
		return long+short+e.Tables <= p.Memory+p.Reserve && (e.short || long+e.Tables <= p.Memory)
	}
	leaving := slices.Clone(c.leaving)
	for _, l := range leaving {
		drop(l)
	}
	for _, l := range c.lastFirst() {
		if enough() {
			break
		}
		if c.yields(l, e) {
			leaving = append(leaving, l)
			drop(l)
		}
	}
	if !enough() {
		return false
	}
	c.leaving = leaving
	return !slices.ContainsFunc(leaving, func(l *entry) bool { return l.Running > 0 })
}

// idle tells whether nothing is done for a search, nor could be.
func (c *choice) idle(e *entry) bool {
	return e.Paused || c.over(e) || e.Running == 0 && e.Ready == 0
}

// yields tells whether a search that is loaded gives way to another.
func (c *choice) yields(l, to *entry) bool {
	switch {
	case slices.Contains(c.leaving, l):
		return false // it does already
	case c.idle(l):
		return true
	case l.short && c.favoured(l.member):
		return false
	case l.member == to.member:
		return within(to, l) < 0
	case c.spare(l):
		return true
	}
	return l.member.used > to.member.used && !c.hasStint(l, to)
}

// spare tells whether a search that is loaded is only given where a worker would have
// nothing to do, see pick. It has no stint then, or it would keep its room for ever.
func (c *choice) spare(l *entry) bool {
	for _, e := range l.member.ready.all {
		if e == l || within(l, e) < 0 {
			break
		}
		if !e.Loaded && !c.reserved(e) && c.available(e) {
			return true
		}
	}
	return false
}

// lastFirst gives what is loaded in the order in which it gives way: what has
// nothing to do, then what is last by what members used, whatever is out.
func (c *choice) lastFirst() []*entry {
	loaded := slices.Clone(c.q.loaded.all)
	busy := func(e *entry) int {
		if c.idle(e) {
			return 0
		}
		return 1
	}
	slices.SortFunc(loaded, func(a, b *entry) int {
		if by := cmp.Compare(busy(a), busy(b)); by != 0 {
			return by
		}
		if a.member == b.member {
			return within(b, a)
		}
		return cmp.Or(cmp.Compare(b.member.used, a.member.used), strings.Compare(b.member.name, a.member.name))
	})
	return loaded
}

// shrink has searches give way if there are more under way than the memory holds:
// one that was taken for a short question turned out to be a long one, or there is
// less memory than before.
func (c *choice) shrink() {
	over := c.long - c.q.policy.Memory
	if over <= 0 {
		return
	}
	for _, l := range c.lastFirst() {
		if over > 0 && !l.short {
			c.leaving = append(c.leaving, l)
			over -= l.Tables
		}
	}
}
