package conform

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/server/schedule"
)

// Dispatcher holds a dispatcher against what package schedule expects of one: that
// hints come at least once, and none that was never offered. The function makes one, and
// gives another that lets what is under way in it arrive.
func Dispatcher(t *testing.T, open func(t *testing.T) (d schedule.Dispatcher, settle func())) {
	for name, test := range map[string]func(*dispatcherTest){
		"what is offered comes":             (*dispatcherTest).comes,
		"what is offered again comes again": (*dispatcherTest).again,
		"searches are kept apart":           (*dispatcherTest).apart,
		"what is forgotten ends":            (*dispatcherTest).forget,
		"many at once":                      (*dispatcherTest).many,
	} {
		t.Run(name, func(t *testing.T) {
			d, settle := open(t)
			test(&dispatcherTest{d, settle, t})
		})
	}
}

type dispatcherTest struct {
	schedule.Dispatcher
	settle func()
	t      *testing.T
}

func units(search string, first, last int) (out []schedule.Unit) {
	for i := first; i < last; i++ {
		out = append(out, schedule.Unit{Search: search, Length: 1, Index: i})
	}
	return out
}

// all takes the hints of a search until none comes any more.
func (d *dispatcherTest) all(search string) map[schedule.Unit]int {
	d.t.Helper()
	got := map[schedule.Unit]int{}
	for idle, n := 0, 0; idle < 100; n++ {
		require.Less(d.t, n, 100_000, "hints never end")
		u, ok := d.Take(search)
		if !ok {
			idle++
			d.settle()
			continue
		}
		idle = 0
		assert.Equal(d.t, search, u.Search)
		got[u]++
	}
	return got
}

func (d *dispatcherTest) has(search string, want []schedule.Unit) {
	d.t.Helper()
	assert.ElementsMatch(d.t, want, slices.Collect(maps.Keys(d.all(search))))
}

func (d *dispatcherTest) comes() {
	d.has("night", nil)
	d.Offer()
	d.Offer(units("night", 0, 5)...)
	d.Offer(units("night", 5, 100)...)
	d.has("night", units("night", 0, 100))
	d.has("night", nil)
}

func (d *dispatcherTest) again() {
	for range 3 {
		d.Offer(units("night", 0, 3)...)
		d.has("night", units("night", 0, 3))
	}
}

func (d *dispatcherTest) apart() {
	d.Offer(append(units("night", 0, 3), units("day", 0, 4)...)...)
	d.Offer(units("night", 3, 6)...)
	d.has("dawn", nil)
	d.has("day", units("day", 0, 4))
	d.has("night", units("night", 0, 6))
}

// forget allows that hints which were under way come late.
func (d *dispatcherTest) forget() {
	d.Offer(units("night", 0, 10)...)
	d.Offer(units("day", 0, 10)...)
	d.Forget("night")
	d.Forget("dawn")
	d.all("night")
	d.has("night", nil)
	d.has("day", units("day", 0, 10))
	d.Offer(units("night", 20, 30)...)
	d.has("night", units("night", 20, 30))
}

func (d *dispatcherTest) many() {
	const givers, takers, each = 4, 4, 250
	var giving, taking sync.WaitGroup
	for g := range givers {
		giving.Go(func() {
			for _, u := range units("night", g*each, (g+1)*each) {
				d.Offer(u)
			}
		})
	}
	got := [takers]map[schedule.Unit]int{}
	for i := range takers {
		taking.Go(func() {
			got[i] = map[schedule.Unit]int{}
			for range each {
				if u, ok := d.Take("night"); ok {
					got[i][u]++
				}
			}
		})
	}
	giving.Wait()
	taking.Wait()
	seen := d.all("night")
	for i := range got {
		for u := range got[i] {
			seen[u]++
		}
	}
	assert.ElementsMatch(d.t, units("night", 0, givers*each), slices.Collect(maps.Keys(seen)))
}

// Unruly is a dispatcher that repeats, delays and reorders hints, and delivers some
// that were forgotten, as much as it may. It counts what it does in calls of Take.
type Unruly struct {
	mu    sync.Mutex
	r     *rand.Rand
	calls int
	hints map[string][]hint
}

type hint struct {
	schedule.Unit
	due int // not before so many calls
}

// NewUnruly makes one; with the same seed and the same calls it does the same.
func NewUnruly(seed uint64) *Unruly {
	return &Unruly{r: rand.New(rand.NewPCG(seed, 1)), hints: map[string][]hint{}}
}

// Offer takes hints.
func (d *Unruly) Offer(units ...schedule.Unit) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, u := range units {
		for range 1 + d.r.IntN(3) {
			d.hints[u.Search] = append(d.hints[u.Search], hint{u, d.calls + d.r.IntN(5)})
		}
	}
}

// Take gives any of those that are due.
func (d *Unruly) Take(search string) (schedule.Unit, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.calls++
	hints := d.hints[search]
	if len(hints) == 0 {
		return schedule.Unit{}, false
	}
	i := d.r.IntN(len(hints))
	if hints[i].due > d.calls {
		return schedule.Unit{}, false
	}
	u := hints[i].Unit
	d.hints[search] = slices.Delete(hints, i, i+1)
	return u, true
}

// Forget drops most of the hints of a search.
func (d *Unruly) Forget(search string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.hints[search] = slices.DeleteFunc(d.hints[search], func(hint) bool { return d.r.IntN(5) > 0 })
}

// String tells how many hints it has.
func (d *Unruly) String() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := 0
	for _, h := range d.hints {
		n += len(h)
	}
	return fmt.Sprint(n, " hints")
}
