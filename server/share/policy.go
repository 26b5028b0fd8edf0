// Package share decides which search gets the next free worker.
//
// The one idea: it is a function of plain data and of the time that it is told. It
// has no goroutine, no clock and no store, so an hour of a host is a few milliseconds of
// a test. Package schedule keeps it up to date, asks, and does the work.
//
//	queue := share.NewQueue(share.Default(workers, memory), share.NewAccounts(time.Hour, 0))
//	queue.Put(candidate) // whenever anything of it changed
//	for _, over := range queue.Over(now) { … end it, queue.Remove(over.ID) }
//	d := queue.Next(now, worker)
//	accounts.Use(now, member, coreSeconds, d.Short) // when the unit is in
//
// The rules, in the order in which they count:
//
//   - Short questions first, unless their member is ahead of the others by more than
//     an allowance, and that by short questions. What its member put behind the usual,
//     by a priority below 0, is none.
//   - Then the member who used least lately, by weight.
//   - Of one member's searches: the short ones, then by priority, then by age.
//   - A search whose tables are in memory goes on for a stint, since to change it for
//     another means loading tables: for a quantum of core-seconds, or until its
//     member is ahead by one. Among a member's own searches there are no stints.
//   - Tables under way fit in the memory that there is for them. Where the search that
//     comes first does not fit, those give way whose stint is over, the member's who used
//     most first. They finish the units that are out, and until then nothing else is
//     loaded that would take the room.
//
// So a worker has nothing to do only if there is nothing to hand out, or if others
// finish units before there is room.
package share

import (
	"math"
	"time"
)

// Policy has the settings. All of them have to be set; Default does.
type Policy struct {
	Workers   int     // how many there are, 1 or more: Quantum and Allowance count for each
	Memory    int64   // bytes, for the tables of all searches under way but short ones
	Reserve   int64   // bytes, for tables of short questions besides
	Short     float64 // core-seconds that a short question has to go at most
	Unknown   float64 // core-seconds for which a search is taken for one where nobody knows
	Quantum   float64 // core-seconds for each worker that a search has before it gives way
	Allowance float64 // core-seconds for each worker that short questions may take beyond the share
	Unit      float64 // core-seconds that a unit counts for while it is out
}

// Default is the policy for a number of workers and the bytes that tables may take.
func Default(workers int, memory int64) Policy {
	return Policy{
		Workers: max(1, workers), Memory: memory, Reserve: memory / 8,
		Short: 10, Unknown: 5, Quantum: 120, Allowance: 120, Unit: 5,
	}
}

// Most and least that a priority may be.
const (
	MostPriority  = 10
	LeastPriority = -MostPriority
)

// Candidate is what the policy knows of a search that has not ended.
type Candidate struct {
	ID, Member string
	Priority   int       // among the member's own, LeastPriority to MostPriority, 0 by default; the highest is first
	Submitted  time.Time // the oldest is first
	Paused     bool      // gets nothing, and its tables may go

	Remaining float64 // estimated core-seconds that it has to go; NaN: not known yet
	// Tables is the bytes of the tables that it needs in memory at a time. A short
	// question goes first only as far as they fit in the reserve or in what is free.
	Tables int64

	Running int  // what is being done for it now: units out, the making of tables, the closing of a length
	Ready   int  // units that could be handed out now; 1 if it has not begun, 0 while its tables are made
	Loaded  bool // it is under way: its tables have their room in memory, made or being made
	// Stint is the core-seconds it used since it was loaded last.
	Stint float64

	Deadline time.Time // it ends at this moment of the wall clock; zero: at none
	Budget   float64   // core-seconds after which it ends; 0: none
	Used     float64   // core-seconds so far, for Budget
}

// Worker asks for work.
type Worker struct {
	// Holds are the searches whose tables it has in its own memory. Nil is a worker
	// inside the server, which has those of all that are loaded.
	Holds []string
}

// Decision is what a worker is to do.
type Decision struct {
	Search string // gets the worker; "": there is nothing for it now, ask again when anything changed
	Load   bool   // its tables have to be loaded or made first: from now on it is Loaded
	Short  bool   // it is given as a short question: to be told to Accounts.Use

	// GiveWay are searches whose tables are to be dropped: where nothing is Running at
	// once, before Search is loaded, else as soon as that is so. They get no more units.
	GiveWay []string
	// Waiting is the search for which others give way or end, if it has to wait for that.
	Waiting string
}

// Reason is why a search is over.
type Reason int

// The reasons.
const (
	DeadlinePassed Reason = iota + 1 // it ends as it is, with what it found and proved
	BudgetUsed                       // the same
	TooLarge                         // its tables never fit in Policy.Memory
)

// Over is a search that gets no more workers, and why.
type Over struct {
	ID     string
	Reason Reason
}

// short tells whether a candidate is a short question: it has little to go, or,
// where that is not known yet, it is small and used next to nothing so far. Its member
// wants it soon, which those who give it a low priority do not.
func (p Policy) short(c Candidate) bool {
	switch {
	case c.Priority < 0:
		return false
	case math.IsNaN(c.Remaining):
		return c.Used < p.Unknown && c.Tables <= p.Reserve
	}
	return c.Remaining <= p.Short
}

// over tells whether a candidate is over at a moment, and why.
func (p Policy) over(c *Candidate, now time.Time) (Reason, bool) {
	switch {
	case passed(c.Deadline, now):
		return DeadlinePassed, true
	case c.Budget > 0 && c.Used >= c.Budget:
		return BudgetUsed, true
	case c.Tables > p.Memory:
		return TooLarge, true
	}
	return 0, false
}

// passed compares by the wall clock: a deadline is a time of day, whatever a
// monotonic clock says.
func passed(deadline, now time.Time) bool {
	return !deadline.IsZero() && !now.Round(0).Before(deadline.Round(0))
}

func (p Policy) quantum() float64   { return p.Quantum * float64(p.Workers) }
func (p Policy) allowance() float64 { return p.Allowance * float64(p.Workers) }
