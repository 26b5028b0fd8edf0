package share

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestDecay(t *testing.T) {
	a := NewAccounts(time.Hour, 0)
	a.Use(evening, "rowan", 80, false)
	a.Use(evening, "rowan", 16, true)
	for hours, want := range map[int]float64{0: 96, 1: 48, 2: 24, 5: 3, 2000: 0} {
		b := NewAccounts(time.Hour, 0)
		b.Restore(evening, a.Record(evening))
		used, short := b.Lately(evening.Add(time.Duration(hours)*time.Hour), "rowan")
		assert.InDelta(t, want, used, 1e-9)
		assert.InDelta(t, want/6, short, 1e-9)
	}
	for _, nothing := range []float64{0, -1, math.NaN(), math.Inf(1), math.Inf(-1)} {
		a.Use(evening, "rowan", nothing, false)
		a.Use(evening, "nobody", nothing, false)
	}
	used, _ := a.Lately(evening, "rowan")
	assert.InDelta(t, 96, used, 1e-9)
	assert.Len(t, a.members, 1)
}

// Whatever order uses are booked in, and in however many steps time passes, the
// accounts are what the formula says.
func TestDecayIsExactInAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		type use struct {
			at     time.Duration
			member string
			amount float64
		}
		uses := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) use {
			return use{
				time.Duration(rapid.Int64Range(0, int64(300*time.Hour)).Draw(t, "at")),
				rapid.SampledFrom([]string{"rowan", "sorrel", "tansy"}).Draw(t, "member"),
				rapid.Float64Range(0.001, 1e6).Draw(t, "amount"),
			}
		}), 1, 20).Draw(t, "uses")
		end := 300 * time.Hour
		want := map[string]float64{}
		for _, u := range uses {
			want[u.member] += u.amount * math.Exp2(-(end - u.at).Hours())
		}
		a := NewAccounts(time.Hour, 0)
		for _, i := range rapid.Permutation(indices(len(uses))).Draw(t, "order") {
			a.add(uses[i].at, uses[i].member, uses[i].amount, false)
		}
		fade := a.fade(end)
		for name, w := range want {
			require.InEpsilon(t, w, a.members[name].used*fade, 1e-9)
		}
	})
}

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// Whatever the clock does no account grows by it, or loses its order to another.
func TestAccountsUnderAClockThatJumps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := NewAccounts(time.Hour, 0)
		now := evening
		a.Use(now, "rowan", 1e6, true)
		a.Use(now, "sorrel", 2e6, true)
		last := 1e6
		for range rapid.IntRange(1, 20).Draw(t, "jumps") {
			now = now.Add(time.Duration(rapid.Int64Range(-int64(time.Hour), int64(time.Hour)).Draw(t, "jump")))
			rowan, short := a.Lately(now, "rowan")
			sorrel, _ := a.Lately(now, "sorrel")
			require.LessOrEqual(t, rowan, last)
			require.Equal(t, rowan, short)
			require.InEpsilon(t, 2, sorrel/rowan, 1e-9)
			last = rowan
		}
	})
}

// Accounts that are kept and restored are as if the server had run on, and a clock
// that was ahead when they were kept makes nothing of nothing.
func TestAccountsOverARestart(t *testing.T) {
	a := NewAccounts(time.Hour, 0)
	a.Use(evening, "rowan", 1000, false)
	a.Use(evening, "sorrel", 3000, true)
	a.Use(evening, "tansy", negligible/2, false)
	text, err := json.Marshal(a.Record(evening.Add(time.Hour)))
	require.NoError(t, err)
	assert.JSONEq(t, `{"at": "2026-11-20T23:00:00Z", "members": [
		{"member": "sorrel", "used": 1500, "short": 1500}, {"member": "rowan", "used": 500}]}`, string(text))
	var r Record
	require.NoError(t, json.Unmarshal(text, &r))
	for at, want := range map[time.Time]float64{
		evening.Add(2 * time.Hour): 250, evening.Add(time.Hour): 500, evening.Add(-9 * time.Hour): 500,
	} {
		b := NewAccounts(time.Hour, 0)
		b.Restore(at, r)
		used, short := b.Lately(at, "rowan")
		assert.InDelta(t, want, used, 1e-9)
		assert.Zero(t, short)
		used, short = b.Lately(at, "sorrel")
		assert.InDelta(t, 3*want, used, 1e-9)
		assert.InDelta(t, 3*want, short, 1e-9)
	}
	b := NewAccounts(time.Hour, 0)
	b.Restore(evening, Record{At: evening, Members: []Use{{"rowan", math.NaN(), 1}, {"sorrel", -5, 1}, {"tansy", 5, 9}}})
	used, short := b.Lately(evening, "tansy")
	assert.Equal(t, []float64{5, 5}, []float64{used, short})
	assert.Len(t, b.members, 1)
}

// However many members there are, the accounts that are kept are those with the most use.
func TestAccountsAreBounded(t *testing.T) {
	a := NewAccounts(time.Hour, 10)
	for _, i := range rand.New(rand.NewPCG(1, 2)).Perm(1000) {
		a.Use(evening, fmt.Sprint(i), float64(1+i), false)
		require.LessOrEqual(t, len(a.members), 10)
	}
	kept := 0
	for i := 980; i < 1000; i++ {
		if used, _ := a.Lately(evening, fmt.Sprint(i)); used > 0 {
			kept++
		}
	}
	assert.GreaterOrEqual(t, kept, 9, "all but the last that came may be among the most")
}
