package share

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"
)

// Accounts remember how many core-seconds each member used lately: a core-second
// counts for half after each half-life. Shares follow from it, see Policy.
//
// Decay is exact: it does not matter in how many steps it is worked out, nor in which
// order uses of one moment are told. The clock of the host may jump. Where it goes
// back no time passes, and nothing grows; where it goes ahead all accounts fade by the
// same factor, so that who is before whom does not change.
//
// They are not safe for concurrent use.
type Accounts struct {
	halfLife time.Duration
	limit    int
	members  map[string]*account

	// Sums are kept as they would have been at one moment, zero, so that a use
	// is an addition and nothing else has to be touched as time passes.
	clock clock
	zero  time.Duration
}

// account has the sums of a member, in core-seconds at Accounts.zero.
type account struct {
	used  float64
	short float64 // of it, for units that were given as those of a short question
}

// DefaultAccounts is how many members are remembered unless said otherwise.
const DefaultAccounts = 1000

// NewAccounts makes accounts with a half-life, more than zero, for at most limit
// members, DefaultAccounts if that is not more than zero. Where there are more, those who
// used least are forgotten: that changes least.
func NewAccounts(halfLife time.Duration, limit int) *Accounts {
	if limit <= 0 {
		limit = DefaultAccounts
	}
	return &Accounts{halfLife: max(halfLife, time.Nanosecond), limit: limit, members: map[string]*account{}}
}

// Use books what was worked for a member, in core-seconds. short tells that it was
// for a short question, see Decision. What is not a finite number above zero is not booked.
func (a *Accounts) Use(now time.Time, member string, coreSeconds float64, short bool) {
	if !(coreSeconds > 0) || math.IsInf(coreSeconds, 0) {
		return
	}
	a.add(a.clock.read(now), member, coreSeconds, short)
}

func (a *Accounts) add(at time.Duration, member string, coreSeconds float64, short bool) {
	if a.halfLives(at) > 64 {
		// The sums would run out of range: state them anew.
		fade := a.fade(at)
		for _, m := range a.members {
			m.used, m.short = m.used*fade, m.short*fade
		}
		a.zero = at
	}
	m := a.members[member]
	if m == nil {
		m = &account{}
		a.members[member] = m
	}
	sum := coreSeconds / a.fade(at)
	m.used += sum
	if short {
		m.short += sum
	}
	if len(a.members) > a.limit {
		a.forget(member)
	}
}

// forget drops the account with the least use, but not the one named.
func (a *Accounts) forget(but string) {
	least := ""
	for name, m := range a.members {
		if name == but {
			continue
		}
		if l := a.members[least]; l == nil || m.used < l.used || m.used == l.used && name < least {
			least = name
		}
	}
	delete(a.members, least)
}

// Lately is what a member used up to now, and how much of it for short questions,
// in core-seconds.
func (a *Accounts) Lately(now time.Time, member string) (used, short float64) {
	m := a.members[member]
	if m == nil {
		return 0, 0
	}
	fade := a.fade(a.clock.read(now))
	return m.used * fade, m.short * fade
}

func (a *Accounts) halfLives(at time.Duration) float64 {
	return float64(at-a.zero) / float64(a.halfLife)
}

// fade is what is left at a moment of one core-second of the moment zero.
func (a *Accounts) fade(at time.Duration) float64 { return math.Exp2(-a.halfLives(at)) }

// Record is how accounts are kept over a restart.
type Record struct {
	At      time.Time `json:"at"`
	Members []Use     `json:"members"`
}

// Use is what one member used up to the time of a record, in core-seconds.
type Use struct {
	Member string  `json:"member"`
	Used   float64 `json:"used"`
	Short  float64 `json:"short,omitempty"`
}

// negligible is the use that need not be remembered, in core-seconds.
const negligible = 0.01

// Record gives the accounts as they are now, those that used most first.
func (a *Accounts) Record(now time.Time) Record {
	r := Record{At: now.Round(0).UTC()}
	for _, name := range slices.Sorted(maps.Keys(a.members)) {
		if used, short := a.Lately(now, name); used >= negligible {
			r.Members = append(r.Members, Use{Member: name, Used: used, Short: short})
		}
	}
	slices.SortStableFunc(r.Members, func(x, y Use) int { return cmp.Compare(y.Used, x.Used) })
	return r
}

// Restore adds what a record says, less what decayed since. It is meant for
// accounts that were just made. What no record can say is left out.
func (a *Accounts) Restore(now time.Time, r Record) {
	since := max(0, now.Sub(r.At))
	left := math.Exp2(-float64(since) / float64(a.halfLife))
	for _, u := range r.Members {
		a.Use(now, u.Member, min(max(u.Short, 0), u.Used)*left, true)
		a.Use(now, u.Member, (u.Used-min(max(u.Short, 0), u.Used))*left, false)
	}
}

// year is the most that passes at once: more than enough to forget all, and too
// little for the count to run out of range.
const year = 365 * 24 * time.Hour

// clock counts the time that passed since it was first read. It never goes back.
type clock struct {
	last   time.Time
	passed time.Duration
}

func (c *clock) read(now time.Time) time.Duration {
	if !c.last.IsZero() {
		c.passed += min(max(0, now.Sub(c.last)), year)
	}
	c.last = now
	return c.passed
}
