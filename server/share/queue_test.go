package share

import (
	"fmt"
	"iter"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// scene is a host at one moment: whatever is possible there.
type scene struct {
	policy Policy
	cs     []Candidate
	uses   []Use
	weight map[string]float64
	worker Worker
}

var members = []string{"rowan", "sorrel", "tansy", "yarrow"}

var scenes = rapid.Custom(func(t *rapid.T) scene {
	s := scene{policy: Default(rapid.IntRange(1, 4).Draw(t, "workers"), 16), weight: map[string]float64{}}
	long := int64(0)
	short := int64(0)
	for i := range rapid.IntRange(0, 12).Draw(t, "candidates") {
		c := Candidate{
			ID:        fmt.Sprintf("s%02d", i),
			Member:    rapid.SampledFrom(members).Draw(t, "member"),
			Priority:  rapid.IntRange(-1, 1).Draw(t, "priority"),
			Submitted: evening.Add(-time.Duration(rapid.IntRange(1, 3).Draw(t, "age")) * time.Minute),
			Paused:    rapid.IntRange(0, 5).Draw(t, "paused") == 0,
			Remaining: rapid.SampledFrom([]float64{1, 9, 100, 1e5, math.NaN()}).Draw(t, "remaining"),
			Tables:    rapid.SampledFrom([]int64{0, 1, 2, 3, 8, 12, 16, 17}).Draw(t, "tables"),
			Ready:     rapid.IntRange(0, 2).Draw(t, "ready"),
			Used:      rapid.SampledFrom([]float64{0, 5, 50}).Draw(t, "used"),
			Budget:    rapid.SampledFrom([]float64{0, 50, 51}).Draw(t, "budget"),
		}
		if rapid.IntRange(0, 3).Draw(t, "limited") == 0 {
			c.Deadline = evening.Add(time.Duration(rapid.IntRange(-1, 1).Draw(t, "deadline")) * time.Second)
		}
		// What is loaded has room.
		if room := long+short+c.Tables <= s.policy.Memory+s.policy.Reserve; room && rapid.Bool().Draw(t, "loaded") {
			if s.policy.short(c) {
				c.Loaded = true
				short += c.Tables
			} else if long+c.Tables <= s.policy.Memory {
				c.Loaded = true
				long += c.Tables
			}
		}
		if c.Loaded {
			c.Running = rapid.IntRange(0, 2).Draw(t, "running")
			c.Stint = rapid.SampledFrom([]float64{0, 1e3}).Draw(t, "stint")
			if rapid.Bool().Draw(t, "held") {
				s.worker.Holds = append(s.worker.Holds, c.ID)
			}
		}
		s.cs = append(s.cs, c)
	}
	if rapid.Bool().Draw(t, "inside") {
		s.worker.Holds = nil
	} else if s.worker.Holds == nil {
		s.worker.Holds = []string{}
	}
	for _, m := range members {
		used := rapid.SampledFrom([]float64{0, 10, 100, 1e3, 1e4}).Draw(t, "lately")
		s.uses = append(s.uses, Use{m, used, used * rapid.SampledFrom([]float64{0, 0.5, 1}).Draw(t, "short")})
		s.weight[m] = rapid.SampledFrom([]float64{0, 1, 2}).Draw(t, "weight")
	}
	return s
})

// queue puts the candidates in some order, some of them more than once.
func (s scene) queue(t *rapid.T) *Queue {
	a := NewAccounts(time.Hour, 0)
	a.Restore(evening, Record{At: evening, Members: s.uses})
	q := NewQueue(s.policy, a)
	for m, w := range s.weight {
		q.Weigh(m, w)
	}
	for _, i := range rapid.Permutation(indices(len(s.cs))).Draw(t, "order") {
		c := s.cs[i]
		if rapid.Bool().Draw(t, "before") {
			was := Candidate{
				ID: c.ID, Member: rapid.SampledFrom(members).Draw(t, "was"), Submitted: evening, Ready: 1, Running: 3,
				Remaining: 1, Loaded: true, Deadline: evening, Budget: 1, Used: 1,
			}
			q.Put(was)
		}
		q.Put(c)
	}
	return q
}

// plain decides by the same rules as Next, but looks at all there is in one sorted list.
func plain(q *Queue, now time.Time, w Worker) Decision {
	q.read(now)
	c := q.newChoice(now, w)
	var all []*entry
	for _, e := range q.entries {
		if e.Ready > 0 && !e.Paused && e.reason == 0 {
			all = append(all, e)
		}
	}
	slices.SortFunc(all, rank)
	d := c.byShare(func(func(*member) bool) iter.Seq[*entry] { return slices.Values(all) })
	for _, e := range all {
		if e.short && c.favoured(e.member) && c.available(e) && (e.Loaded || c.fits(e)) {
			first := Decision{Search: e.ID, Load: !e.Loaded, Short: true}
			if d.Waiting != "" {
				first.GiveWay, first.Waiting = d.GiveWay, d.Waiting
			}
			return first
		}
	}
	return d
}

// What must be so of every decision.
func TestEveryDecision(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := scenes.Draw(t, "scene")
		q := s.queue(t)
		d := q.Next(evening, s.worker)
		require.Equal(t, d, q.Next(evening, s.worker), "a decision changes nothing")
		require.Equal(t, d, s.queue(t).Next(evening, s.worker), "nor does the order of what was put")
		require.Equal(t, d, plain(q, evening, s.worker), "the index leaves nothing out")

		over := map[string]Reason{}
		for _, o := range q.Over(evening) {
			over[o.ID] = o.Reason
		}
		byID := map[string]Candidate{}
		long, short := int64(0), int64(0)
		running, working := 0, false
		for _, c := range s.cs {
			byID[c.ID] = c
			want := Reason(0)
			switch {
			case !c.Deadline.IsZero() && !c.Deadline.After(evening):
				want = DeadlinePassed
			case c.Budget > 0 && c.Used >= c.Budget:
				want = BudgetUsed
			case c.Tables > s.policy.Memory:
				want = TooLarge
			}
			require.Equal(t, want, over[c.ID])
			if c.Loaded && s.policy.short(c) {
				short += c.Tables
			} else if c.Loaded {
				long += c.Tables
			}
			running += c.Running
			working = working || c.Loaded && c.Running > 0
		}
		open := func(c Candidate) bool { return c.Ready > 0 && !c.Paused && over[c.ID] == 0 }

		leaving := int64(0)
		for _, id := range d.GiveWay {
			c := byID[id]
			require.True(t, c.Loaded)
			require.NotEqual(t, d.Search, id)
			require.NotEqual(t, d.Waiting, id)
			if c.Running == 0 {
				leaving += c.Tables
			} else {
				require.False(t, d.Load && d.Waiting == "", "nothing is loaded over what is in use")
			}
		}
		if d.Search != "" {
			c := byID[d.Search]
			require.True(t, open(c))
			require.Equal(t, !c.Loaded, d.Load)
			require.Equal(t, s.policy.short(c), d.Short)
			if d.Load && d.Waiting == "" {
				require.LessOrEqual(t, long+short-leaving+c.Tables, s.policy.Memory+s.policy.Reserve)
			} else if d.Load {
				require.LessOrEqual(t, long+short+c.Tables, s.policy.Memory+s.policy.Reserve)
			}
			return
		}
		// A worker without work: all that could go on makes room, what has room waits for what comes
		// before it, and only while others work.
		for _, c := range s.cs {
			if !open(c) {
				continue
			}
			require.True(t, working, "%s could be given, and nobody works", c.ID)
			if c.Loaded {
				require.Contains(t, d.GiveWay, c.ID)
				require.NotEmpty(t, d.Waiting)
			} else if long+c.Tables <= s.policy.Memory && long+short+c.Tables <= s.policy.Memory+s.policy.Reserve {
				require.NotEmpty(t, d.Waiting)
				require.NotEqual(t, c.ID, d.Waiting)
			}
		}
	})
}

// Searches of equal members that never end, with tables of any size and units of any
// length: each of them that is first in its member's own order has its share before long.
func TestNobodyStarves(t *testing.T) {
	most := 6
	if testing.Short() {
		most = 3
	}
	rapid.Check(t, func(t *rapid.T) {
		h := newHost(t, rapid.IntRange(1, 4).Draw(t, "workers"))
		n := rapid.IntRange(2, most).Draw(t, "members")
		var firsts []*job
		for i := range n {
			member := fmt.Sprintf("member-%d", i)
			for k := range rapid.IntRange(1, 3).Draw(t, "searches") {
				j := h.submit(fmt.Sprintf("s%d-%d", i, k), member, endless,
					rapid.Float64Range(3, 30).Draw(t, "unit"), rapid.Float64Range(0, 8).Draw(t, "tables"))
				if k == 0 {
					firsts = append(firsts, j)
				}
			}
		}
		// A quantum of each takes so long on the whole host, with all that loading and the last units
		// before it can cost; those who are behind at first are given three rounds.
		round := float64(n) * (h.policy.Quantum + 24 + 2*30)
		h.run(3 * round)
		for _, j := range firsts {
			if j.begun.IsZero() {
				t.Fatalf("%s had nothing", j.ID)
			}
		}
		h.run(5 * round)
		low, high := math.Inf(1), 0.0
		for _, used := range h.used {
			low, high = min(low, used), max(high, used)
		}
		if low < 0.5*high {
			t.Fatalf("one member has %v, another %v", low, high)
		}
	})
}

// Queues of 10,000 searches: how long a choice takes, with what changes for it.
func BenchmarkNext(b *testing.B) {
	for _, members := range []int{1, 100, 1000} {
		for name, tables := range map[string]int64{"fits": gib, "waits": 7 * gib} {
			b.Run(fmt.Sprintf("members=%d/%s", members, name), func(b *testing.B) {
				a := NewAccounts(time.Hour, members)
				q := NewQueue(Default(8, 8*gib), a)
				c := Candidate{Remaining: 1e5, Tables: tables, Ready: 1}
				for i := range 10_000 {
					c.ID, c.Member = fmt.Sprintf("search-%d", i), fmt.Sprintf("member-%d", i%members)
					c.Submitted = evening.Add(time.Duration(i*7919%10_000) * time.Second)
					q.Put(c)
					a.Use(evening, c.Member, float64(1+i*31%977), false)
				}
				c.ID, c.Loaded, c.Tables, c.Stint = "under-way", true, 4*gib, 1e6
				now := evening
				b.ResetTimer()
				for range b.N {
					now = now.Add(time.Second)
					c.Running, c.Ready = 8, 0 // its last units are out
					q.Put(c)
					q.Next(now, Worker{})
					a.Use(now, c.Member, 1, false)
				}
			})
		}
	}
}
