package share

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	hour    = 3600.0
	endless = 1 << 30
)

func priority(p int) func(*job) { return func(j *job) { j.Priority = p } }

// Members get equal shares however much they ask for, and shares by weight where they
// have weights. Where their searches alternate, the shares are those at the moments of
// change, so that over hours they are a little off.
func TestSharesOverHours(t *testing.T) {
	for _, c := range []struct {
		tables, weight, off, busy float64
	}{
		{tables: 2, weight: 1, off: 0.01, busy: 0.98}, // side by side in memory
		{tables: 2, weight: 2, off: 0.01, busy: 0.98},
		{tables: 5, weight: 1, off: 0.05, busy: 0.85}, // one after the other
		{tables: 5, weight: 2, off: 0.07, busy: 0.85},
	} {
		t.Run(fmt.Sprintf("tables of %v GiB, weight %v", c.tables, c.weight), func(t *testing.T) {
			h := newHost(t, 4)
			h.queue.Weigh("rowan", c.weight)
			h.submit("one", "rowan", endless, 10, c.tables)
			for i := range 20 {
				h.submit(fmt.Sprintf("many-%d", i), "sorrel", endless, 6+float64(i%9), c.tables)
			}
			h.run(6 * hour)
			assert.InEpsilon(t, c.weight, h.used["rowan"]/h.used["sorrel"], c.off)
			assert.Greater(t, h.used["rowan"]+h.used["sorrel"], c.busy*4*6*hour, "cores were idle")
			assert.Less(t, h.used["sorrel"]-h.jobs["many-0"].Used, 60.0, "of a member's searches the oldest goes on")
		})
	}
}

// A member who comes late has the host until the share is even, and who was away for
// many half-lives has saved nothing.
func TestAMemberWhoComesLate(t *testing.T) {
	h := newHost(t, 4)
	h.submit("night", "rowan", endless, 5, 6)
	h.run(8 * hour)
	before := h.used["rowan"]
	h.submit("morning", "sorrel", endless, 5, 6)
	h.run(hour / 2)
	assert.Less(t, h.used["rowan"]-before, 0.02*4*hour/2)
	h.run(hour) // even after one half-life
	before, since := h.used["rowan"], h.used["sorrel"]
	h.run(2 * hour)
	assert.InEpsilon(t, 1, (h.used["rowan"]-before)/(h.used["sorrel"]-since), 0.1)
}

// To change the search costs seconds of loading: it happens once in a quantum.
func TestSearchesThatDoNotFitTogetherAlternate(t *testing.T) {
	h := newHost(t, 4)
	a := h.submit("a", "rowan", endless, 1, 6)
	b := h.submit("b", "sorrel", endless, 1, 6)
	h.run(hour)
	stints := hour / h.policy.Quantum
	assert.InDelta(t, stints, a.loads+b.loads, stints/4)
}

// A short question is over within its own work, one unit of what is under way, and a
// second, whether it is measured or only small, and whoever is ahead.
func TestAShortQuestionDuringTheNight(t *testing.T) {
	for name, more := range map[string]func(*job){
		"measured": func(*job) {},
		"unsure":   func(j *job) { j.unsure = true },
	} {
		for _, member := range []string{"rowan", "sorrel", "tansy"} {
			t.Run(name+" "+member, func(t *testing.T) {
				h := newHost(t, 2)
				h.submit("night", "rowan", endless, 20, 7.5)
				h.submit("other", "sorrel", endless, 20, 7.5)
				h.run(2*hour + 9)
				h.submit("low", member, endless, 20, 0.1, priority(10))
				j := h.submit("short", member, 4, 0.5, 0.25, more)
				h.run(60)
				require.False(t, j.ended.IsZero())
				assert.LessOrEqual(t, j.took(), j.load+4*0.5+20+1)
				h.run(hour)
				assert.InEpsilon(t, 1, h.used["rowan"]/h.used["sorrel"], 0.1, "the short ones are booked and nothing else")
			})
		}
	}
}

// What its member put behind all else does not go first because it is small, nor
// because nobody knows how large it is: a thousand such searches cost the one before
// them nothing.
func TestManySmallSearchesPutBehind(t *testing.T) {
	h := newHost(t, 2)
	night := h.submit("night", "rowan", endless, 1, 4)
	h.run(60)
	used := night.Used
	for n := range 1000 {
		h.submit(fmt.Sprintf("small-%d", n), "rowan", 2, 1, 0.1, priority(-1), func(j *job) { j.unsure = n%2 == 0 })
	}
	h.run(600)
	assert.InDelta(t, 2*600, night.Used-used, 5)
}

// A question that was taken for a short one and is not gives way again.
func TestAQuestionThatOnlySeemedShort(t *testing.T) {
	h := newHost(t, 2)
	night := h.submit("night", "rowan", endless, 5, 7.5)
	h.run(60)
	seemed := h.submit("seemed", "sorrel", endless, 5, 1, func(j *job) { j.unsure = true })
	h.run(15)
	assert.Greater(t, seemed.Used, 0.0, "it went first")
	h.run(2 * hour)
	assert.InEpsilon(t, 1, h.used["rowan"]/h.used["sorrel"], 0.05)
	assert.Less(t, night.loads+seemed.loads, 150)
}

// Who floods the host with short questions gets the allowance and the share, and no more; and
// a short question of another member goes between.
func TestAFloodOfShortQuestions(t *testing.T) {
	h := newHost(t, 2)
	h.submit("night", "rowan", endless, 5, 4)
	flood := 0
	var more func()
	more = func() {
		for range 10 {
			flood++
			h.submit(fmt.Sprintf("flood-%d", flood), "sorrel", 2, 1, 0.1)
		}
		h.after(5, more)
	}
	h.after(0, more)
	h.run(hour)
	allowance := h.policy.allowance()
	assert.InDelta(t, hour, h.used["rowan"], allowance+0.05*hour)
	assert.Greater(t, h.used["sorrel"], 0.9*hour, "what is not privileged still has its share")

	j := h.submit("short", "tansy", 2, 0.5, 0.1)
	h.run(30)
	require.False(t, j.ended.IsZero())
	assert.LessOrEqual(t, j.took(), j.load+1+5+1)
}

// A priority orders a member's own searches and takes nothing from another member.
func TestPriorities(t *testing.T) {
	h := newHost(t, 2)
	h.submit("other", "rowan", endless, 5, 4)
	first := h.submit("first", "sorrel", endless, 5, 4)
	h.run(hour)
	urgent := h.submit("urgent", "sorrel", endless, 5, 4, priority(10))
	later := h.submit("later", "sorrel", endless, 5, 4, priority(-10))
	h.run(300) // until its member comes first
	used := first.Used
	h.run(hour)
	assert.InDelta(t, used, first.Used, 20, "what is behind in a member's own order waits")
	assert.Greater(t, urgent.Used, 0.95*hour)
	assert.Zero(t, later.Used)
	assert.InEpsilon(t, 1, h.used["rowan"]/h.used["sorrel"], 0.04)

	urgent.Paused = true
	h.put(urgent)
	h.run(2 * hour)
	assert.Greater(t, first.Used, used+0.9*2*hour)
}

// A worker that crashes gives its unit back: all of them are done, once each.
func TestWorkersThatCrash(t *testing.T) {
	h := newHost(t, 3)
	random := rand.New(rand.NewPCG(1, 2))
	h.crash = func() bool { return random.IntN(4) == 0 }
	a := h.submit("a", "rowan", 300, 2, 6)
	b := h.submit("b", "sorrel", 300, 2, 6)
	h.run(3 * hour)
	for _, j := range []*job{a, b} {
		require.False(t, j.ended.IsZero())
		assert.InDelta(t, 300*2+float64(j.loads)*j.load, j.Used, 1e-6)
	}
}

// A clock that jumps, back or ahead, takes nothing from anyone and gives nobody more.
func TestAClockThatJumps(t *testing.T) {
	for name, jump := range map[string]time.Duration{
		"back": -5 * time.Hour, "ahead": 5 * time.Hour, "years ahead": 24 * 3650 * time.Hour,
	} {
		t.Run(name, func(t *testing.T) {
			h := newHost(t, 2)
			h.submit("a", "rowan", endless, 5, 6)
			h.submit("b", "sorrel", endless, 5, 6)
			h.run(hour)
			used, _ := h.accounts.Lately(h.clock(), "rowan")
			require.Greater(t, used, 1000.0)
			h.skew = jump
			after, _ := h.accounts.Lately(h.clock(), "rowan")
			assert.LessOrEqual(t, after, used)
			if jump < 0 {
				assert.Equal(t, used, after)
			}
			h.run(hour)
			h.skew = 0
			h.run(hour)
			assert.InEpsilon(t, 1, h.used["rowan"]/h.used["sorrel"], 0.05)
		})
	}
}

// A deadline is a moment of the wall clock: it is not there any earlier because the
// clock goes back, and one that the clock has passed is over.
func TestDeadlines(t *testing.T) {
	h := newHost(t, 2)
	at := func(d time.Duration) func(*job) { return func(j *job) { j.Deadline = evening.Add(d) } }
	seven := h.submit("seven", "rowan", endless, 5, 6, at(9*time.Hour))
	paused := h.submit("paused", "rowan", endless, 5, 6, at(time.Hour), func(j *job) { j.Paused = true })
	assert.Equal(t, evening.Add(time.Hour), h.queue.Deadline())
	h.run(2 * hour)
	assert.Equal(t, evening.Add(time.Hour), paused.ended)
	assert.Equal(t, DeadlinePassed, paused.why)
	assert.Zero(t, paused.loads)
	h.run(6.5 * hour)
	h.skew = -2 * time.Hour
	h.run(2.4 * hour)
	assert.True(t, seven.ended.IsZero(), "by the wall clock it is five to seven")
	assert.Equal(t, evening.Add(9*time.Hour), h.queue.Deadline())
	h.run(0.2 * hour)
	assert.Equal(t, DeadlinePassed, seven.why)
	assert.Zero(t, h.queue.Deadline())
}

func TestBudgets(t *testing.T) {
	h := newHost(t, 4)
	j := h.submit("eight", "rowan", endless, 5, 6, func(j *job) { j.Budget = 8 * hour })
	h.run(3 * hour)
	assert.Equal(t, BudgetUsed, j.why)
	assert.InDelta(t, 8*hour, j.Used, 4*5)
}

// What needs more memory than there is is told and not begun; what fits only alone
// has its share though smaller ones come and go all the time.
func TestMemory(t *testing.T) {
	h := newHost(t, 4)
	never := h.submit("never", "rowan", endless, 5, 8.5)
	h.run(1)
	assert.Equal(t, TooLarge, never.why)
	assert.Zero(t, never.loads)

	for i := range 5 {
		var again func()
		n := 0
		again = func() {
			n++
			h.submit(fmt.Sprintf("small-%d-%d", i, n), fmt.Sprintf("member-%d", i), 20, 5, 2)
			h.after(60, again)
		}
		h.after(float64(i), again)
	}
	h.run(hour)
	large := h.submit("large", "sorrel", endless, 5, 8)
	h.run(600)
	assert.Greater(t, large.Used, 0.0)
	h.run(3 * hour)
	share := 4 * (3*hour + 600) / 6
	assert.Greater(t, large.Used, 0.9*share)
}

// A worker keeps to the tables it has in memory as long as that is fair.
func TestAWorkerKeepsToItsTables(t *testing.T) {
	p := Default(2, 8*gib)
	a := NewAccounts(time.Hour, 0)
	q := NewQueue(p, a)
	put := func(id, member string, stint float64) {
		q.Put(Candidate{ID: id, Member: member, Submitted: evening, Remaining: hour, Tables: gib, Ready: 9, Loaded: true, Stint: stint})
	}
	put("a", "rowan", 0)
	put("b", "sorrel", 0)
	next := func(holds ...string) string { return q.Next(evening, Worker{Holds: holds}).Search }
	a.Use(evening, "rowan", 10, false)
	assert.Equal(t, "b", q.Next(evening, Worker{}).Search, "where both are at hand it is by share")
	assert.Equal(t, "a", next("a"))
	assert.Equal(t, "b", next("b"))
	assert.Equal(t, "b", next("a", "b"))
	put("a", "rowan", p.quantum())
	assert.Equal(t, "b", next("a"), "its stint is over")
	put("a", "rowan", 0)
	a.Use(evening, "rowan", p.quantum(), false)
	assert.Equal(t, "b", next("a"), "its member is ahead")
	assert.Equal(t, "b", q.Next(evening, Worker{Holds: []string{}}).Search)
}

// Workers come and go, and memory may be less than before: then what is last in the
// order gives way, when its units are in.
func TestThePolicyChanges(t *testing.T) {
	h := newHost(t, 2)
	h.submit("a", "rowan", endless, 5, 4)
	b := h.submit("b", "sorrel", endless, 5, 4)
	h.run(30)
	h.accounts.Use(h.clock(), "sorrel", 1000, false)
	b.Running, b.Ready = 1, 5
	h.put(b)
	h.queue.Set(Default(2, 7*gib))
	d := h.queue.Next(h.clock(), Worker{})
	assert.Equal(t, Decision{Search: "a", GiveWay: []string{"b"}}, d)
	h.queue.Set(Default(2, 3*gib))
	assert.Equal(t, []Over{{"a", TooLarge}, {"b", TooLarge}}, h.queue.Over(h.clock()))
	assert.Empty(t, h.queue.Next(h.clock(), Worker{}).Search)
}

// A weight may change while searches are there, and one that is none counts as 1.
func TestWeights(t *testing.T) {
	h := newHost(t, 2)
	h.submit("a", "rowan", endless, 15, 4)
	h.submit("b", "sorrel", endless, 15, 4)
	for _, step := range []struct{ weight, want float64 }{{3, 3}, {math.NaN(), 1}, {0.5, 0.5}, {0, 1}, {math.Inf(1), 1}} {
		h.queue.Weigh("rowan", step.weight)
		h.run(6 * hour) // what was before is forgotten
		rowan, sorrel := h.used["rowan"], h.used["sorrel"]
		h.run(2 * hour)
		assert.InEpsilon(t, step.want, (h.used["rowan"]-rowan)/(h.used["sorrel"]-sorrel), 0.05)
	}
}
