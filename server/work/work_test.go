package work

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"

	"turnwright/server/engine"
)

// office hands out leases and notes what becomes of them. A lease is a search whose name
// says what becomes of its units.
type office struct {
	mu      sync.Mutex
	leases  []*Lease // to be had, the first one first
	urgent  []*Lease
	said    []string
	took    map[string]time.Duration
	covered map[string]uint64
	fail    error // of everything that is brought back
	asked   int
	rest    time.Duration // that Urgent takes
}

func newOffice(searches ...string) *office {
	o := &office{took: map[string]time.Duration{}, covered: map[string]uint64{}}
	for _, s := range searches {
		o.leases = append(o.leases, lease(s))
	}
	return o
}

func lease(search string) *Lease {
	return &Lease{ID: ID{Search: search, Length: 1, Epoch: 1}, Context: context.Background()}
}

func (o *office) say(what string, l *Lease) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.said = append(o.said, what+" "+l.Search)
	return o.fail
}

func (o *office) Lease(ctx context.Context, _ int) (*Lease, error) {
	o.mu.Lock()
	o.asked++
	if len(o.leases) > 0 {
		defer o.mu.Unlock()
		l := o.leases[0]
		o.leases = o.leases[1:]
		if l == nil {
			return nil, errors.New("the server is away")
		}
		return l, nil
	}
	o.mu.Unlock()
	<-ctx.Done()
	return nil, ctx.Err()
}

func (o *office) Urgent(context.Context, int) *Lease {
	time.Sleep(o.rest)
	o.mu.Lock()
	defer o.mu.Unlock()
	if len(o.urgent) == 0 {
		return nil
	}
	l := o.urgent[0]
	o.urgent = o.urgent[1:]
	return l
}

func (o *office) Covered(l *Lease, n uint64) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.covered[l.Search] += n
}

func (o *office) Report(ctx context.Context, l *Lease, r engine.Report, took time.Duration) error {
	o.mu.Lock()
	o.took[l.Search] = took
	o.mu.Unlock()
	return o.say("report", l)
}

func (o *office) Fail(_ context.Context, l *Lease, why error) error { return o.say("fail", l) }

// Return notes too whether there is time left to say so.
func (o *office) Return(ctx context.Context, l *Lease) error {
	if ctx.Err() != nil {
		return o.say("return too late", l)
	}
	return o.say("return", l)
}

func (o *office) Engine(_ context.Context, l *Lease) (engine.Engine, error) {
	if l.Search == "unknown" {
		return nil, errors.New("nobody knows it")
	}
	return units{search: l.Search}, nil
}

func (o *office) Table(_ context.Context, l *Lease, t engine.Table) (engine.Content, func(), error) {
	if l.Search == "no table" {
		return nil, nil, fmt.Errorf("table %s can't be had", t.Key)
	}
	return nil, func() { _ = o.say("release the table of", l) }, nil
}

// units take ten seconds, except short ones.
type units struct {
	engine.Engine
	search string
}

func (u units) Tables() []engine.Table { return []engine.Table{{Key: "a"}, {Key: "b"}} }

func (u units) Needs(int, int) []int { return []int{1} }

func (u units) Run(ctx context.Context, w engine.Work) (engine.Report, error) {
	steps := 1000
	switch u.search {
	case "a bug":
		return engine.Report{}, errors.New("a bug")
	case "a panic":
		panic("a bug")
	case "short":
		steps = 50
	}
	for range steps {
		time.Sleep(10 * time.Millisecond)
		if ctx.Err() != nil {
			return engine.Report{}, ctx.Err()
		}
		w.Progress(1)
	}
	return engine.Report{Covered: uint64(steps)}, nil
}

// work has slots work for an office for a while, and then stop.
func (o *office) work(slots int, d time.Duration) (log string) {
	ctx, cancel := context.WithTimeout(context.Background(), d)
	defer cancel()
	var text bytes.Buffer
	Run(ctx, o, o, slots, slog.New(slog.NewTextHandler(&text, nil)))
	return text.String()
}

func TestUnitsAreDoneOneAfterAnother(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := newOffice("first", "second", "third")
		o.work(2, 25*time.Second)
		assert.Len(t, o.said, 6)
		for _, s := range []string{"first", "second", "third"} {
			assert.Contains(t, o.said, "report "+s)
			assert.Contains(t, o.said, "release the table of "+s)
			assert.Equal(t, 10*time.Second, o.took[s])
			assert.EqualValues(t, 1000, o.covered[s])
		}
	})
}

// Who is to stop gives back what is not finished, and has a moment to say so.
func TestUnitsAreGivenBackWhenWorkStops(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := newOffice("first", "second")
		begun := time.Now()
		log := o.work(2, 5*time.Second)
		assert.Less(t, time.Since(begun), 5100*time.Millisecond)
		assert.Contains(t, o.said, "return first")
		assert.Contains(t, o.said, "return second")
		assert.Empty(t, log)
	})
}

// A unit that is of no use any more is dropped, and the next one begun.
func TestAUnitOfNoUseIsDropped(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := newOffice("gone", "next")
		ctx, cancel := context.WithCancel(t.Context())
		o.leases[0].Context = ctx
		o.fail = errors.New("it is not yours")
		time.AfterFunc(3*time.Second, cancel)
		log := o.work(1, 20*time.Second)
		assert.Equal(t, []string{"release the table of gone", "return gone", "release the table of next", "report next"}, o.said)
		assert.NotContains(t, log, "gone", "that is no news")
		assert.Contains(t, log, "of next")
	})
}

// Short questions go between, and their time is not the long unit's. They are not
// interrupted themselves.
func TestShortQuestionsGoBetween(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := newOffice("long")
		time.AfterFunc(5*time.Second, func() {
			o.mu.Lock()
			defer o.mu.Unlock()
			o.urgent = []*Lease{lease("short"), lease("a panic"), lease("short")}
		})
		begun := time.Now()
		o.work(1, 11500*time.Millisecond)
		assert.Equal(t, []string{
			"release the table of short", "report short", "release the table of a panic", "fail a panic",
			"release the table of short", "report short", "release the table of long", "report long",
		}, o.said)
		assert.Equal(t, 10*time.Second, o.took["long"])
		assert.Equal(t, 500*time.Millisecond, o.took["short"])
		assert.Equal(t, 11500*time.Millisecond, time.Since(begun))
	})
}

func TestAShortQuestionIsNotInterrupted(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := newOffice("first")
		o.leases[0].Short = true
		o.urgent = []*Lease{lease("short")}
		o.work(1, 11*time.Second)
		assert.Equal(t, []string{"release the table of first", "report first"}, o.said)
	})
}

// While a slot rests, the unit that it is at uses no core.
func TestRestIsNotWork(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := newOffice("long")
		o.rest = 10 * time.Millisecond
		o.work(1, 30*time.Second)
		assert.Equal(t, 10*time.Second, o.took["long"])
	})
}

// Where work stops while a short question goes between, both are given back.
func TestBothAreGivenBackWhenWorkStops(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := newOffice("long")
		o.urgent = []*Lease{lease("between")}
		o.work(1, 5*time.Second)
		assert.Equal(t, []string{
			"release the table of between", "return between", "release the table of long", "return long",
		}, o.said)
	})
}

// A fault of the engine is the unit's failure, and the slot goes on, but not at once: it may be
// the computer's.
func TestAFaultOfTheEngineIsAFailure(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := newOffice("a panic", "a bug", "unknown", "good")
		early := newOffice("a bug", "a bug", "a bug")
		early.work(1, 1500*time.Millisecond)
		assert.Len(t, early.leases, 1)
		log := o.work(1, 14*time.Second)
		assert.Equal(t, []string{
			"release the table of a panic", "fail a panic", "release the table of a bug", "fail a bug", "fail unknown",
			"release the table of good", "report good",
		}, o.said)
		assert.Contains(t, log, "a fault of the engine: a bug")
	})
}

// What a worker lacks is not the unit's fault: it goes to another, and this one does not
// ask again at once.
func TestAWorkerThatLacksATablePauses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := newOffice("no table", "no table", "no table", "no table", "no table")
		log := o.work(1, 2500*time.Millisecond)
		assert.Equal(t, []string{"return no table", "return no table", "return no table"}, o.said)
		assert.Contains(t, log, "table b can't be had")
	})
	synctest.Test(t, func(t *testing.T) {
		o := newOffice("long")
		for range 100 {
			o.urgent = append(o.urgent, lease("no table"))
		}
		o.work(1, 3500*time.Millisecond)
		assert.Len(t, o.urgent, 96)
	})
}

func TestASlotAsksAgainWhereItsSourceFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := newOffice()
		o.leases = []*Lease{nil, nil, lease("short")}
		log := o.work(1, 2600*time.Millisecond)
		assert.Equal(t, []string{"release the table of short", "report short"}, o.said)
		assert.Contains(t, log, "the server is away")
		assert.Equal(t, 4, o.asked)
	})
}

func TestAnIDForPeople(t *testing.T) {
	assert.Equal(t, "unit 3 of length 7 of night", ID{"night", 7, 3, 1}.String())
}
