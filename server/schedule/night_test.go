package schedule

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"turnwright/server/engine"
	"turnwright/server/work"
	"turnwright/storage"
)

// night is a host in virtual time: a store on disk, a runner, and workers of other
// processes. All of it lives in one bubble.
type night struct {
	t     *testing.T
	opt   Options
	dir   string
	store *storage.Store
	free  atomic.Uint64 // bytes on the disk
	log   *logged

	mu    sync.Mutex
	works map[string]*fake // by definition

	runner   *Runner
	server   atomic.Pointer[Runner] // the same, for those that work beside the story
	ctx      context.Context        // of the runner
	stop     func()                 // the runner, and waits for it
	dispatch Dispatcher             // in place of the one in memory, if not nil
	wrap     func(Store) Store
}

// tell tells a story in virtual time, with a host of so many slots. At its end
// nothing may be left over.
func tell(t *testing.T, opt Options, story func(t *testing.T, n *night)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		n := &night{t: t, opt: opt, dir: t.TempDir(), works: map[string]*fake{}, log: &logged{}}
		n.free.Store(1 << 40)
		if n.opt.Memory == 0 {
			n.opt.Memory = 1 << 30
		}
		n.opt.Logger = slog.New(slog.NewTextHandler(n.log, nil))
		n.opt.Host = "host"
		n.openStore()
		n.start()
		defer func() {
			n.stop()
			n.tidy()
			require.NoError(t, n.store.Close())
			if t.Failed() {
				t.Log(n.log.text())
			}
		}()
		story(t, n)
	})
}

func (n *night) openStore() {
	s, err := storage.Open(storage.Options{Dir: n.dir, Free: func(string) (uint64, error) { return n.free.Load(), nil }})
	require.NoError(n.t, err)
	n.store = s
}

func (n *night) start() {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	store := Store(n.store)
	if n.wrap != nil {
		store = n.wrap(store)
	}
	r := NewRunner(store, func(s storage.Spec) (engine.Engine, error) {
		f := n.fake(s)
		if f == nil {
			return nil, fmt.Errorf("nobody knows %q", s.Definition)
		}
		return f, nil
	}, n.opt)
	if n.dispatch != nil {
		r.dispatcher = n.dispatch
	}
	n.runner, n.ctx = r, ctx
	n.server.Store(r)
	go func() {
		defer close(done)
		r.Run(ctx)
	}()
	n.stop = func() {
		cancel()
		<-done
	}
	synctest.Wait()
}

// faulty is a store that fails when it is told to.
type faulty struct {
	Store
	fault func(call string) error
}

// faults starts the runner anew with a store that fails with what the function says of a
// call. It is called without the runner's lock.
func (n *night) faults(fault func(call string) error) {
	n.stop()
	n.wrap = func(s Store) Store { return &faulty{s, fault} }
	n.start()
}

func (s *faulty) Search(ctx context.Context, id string) (storage.Search, error) {
	if err := s.fault("Search"); err != nil {
		return storage.Search{}, err
	}
	return s.Store.Search(ctx, id)
}

func (s *faulty) GrantUnit(ctx context.Context, id string, length, index int, worker string) (storage.Lease, error) {
	if err := s.fault("GrantUnit"); err != nil {
		return storage.Lease{}, err
	}
	return s.Store.GrantUnit(ctx, id, length, index, worker)
}

func (s *faulty) CommitUnit(ctx context.Context, id string, u storage.Unit) (storage.Committed, error) {
	if err := s.fault("CommitUnit"); err != nil {
		return storage.Committed{}, err
	}
	return s.Store.CommitUnit(ctx, id, u)
}

func (s *faulty) FailUnit(ctx context.Context, id string, length, index int, worker string, epoch uint64, why string) (storage.Lease, error) {
	if err := s.fault("FailUnit"); err != nil {
		return storage.Lease{}, err
	}
	return s.Store.FailUnit(ctx, id, length, index, worker, epoch, why)
}

func (s *faulty) LoseUnit(ctx context.Context, id string, length, index int, epoch uint64) (storage.Lease, error) {
	if err := s.fault("LoseUnit"); err != nil {
		return storage.Lease{}, err
	}
	return s.Store.LoseUnit(ctx, id, length, index, epoch)
}

func (s *faulty) ReturnUnit(ctx context.Context, id string, length, index int, worker string, epoch uint64) error {
	if err := s.fault("ReturnUnit"); err != nil {
		return err
	}
	return s.Store.ReturnUnit(ctx, id, length, index, worker, epoch)
}

// restart stops the runner in good order, and starts another on the same store.
func (n *night) restart() {
	n.stop()
	n.tidy()
	n.start()
}

// tidy holds what the runner counts against what it has, when it has stopped.
func (n *night) tidy() {
	n.t.Helper()
	n.sound()
	r := n.runner
	require.Empty(n.t, r.jobs, "jobs that go on")
	require.Empty(n.t, r.leases, "leases that are left")
	require.Zero(n.t, r.urgent.Load(), "questions that are urgent")
	require.Empty(n.t, r.hub.watchers)
	if q, ok := r.dispatcher.(*queue); ok {
		require.Empty(n.t, q.units, "hints that are left")
	}
	require.Nil(n.t, r.hush.over)
}

// sound holds the counters against what they count.
func (n *night) sound() {
	n.t.Helper()
	synctest.Wait()
	r := n.runner
	r.mu.Lock()
	defer r.mu.Unlock()
	leased, urgent := map[*job]int{}, 0
	for _, l := range r.leases {
		leased[l.job]++
	}
	for id, j := range r.jobs {
		require.Equal(n.t, leased[j], j.leased, "leases of %s", id)
		require.NotNil(n.t, r.known[id], id)
		if j.stage == nil {
			continue
		}
		if j.stage.urgent {
			urgent++
		}
		require.LessOrEqual(n.t, j.leased, len(j.stage.missing), "%s has more leases than units", id)
	}
	require.EqualValues(n.t, urgent, r.urgent.Load())
}

// logged keeps what the runner logs.
type logged struct {
	mu  sync.Mutex
	all bytes.Buffer
}

func (l *logged) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.all.Write(p)
}

func (l *logged) text() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.all.String()
}

// speed of the only core there is, which the runner takes as long as it measured none.
const speed = guessedSpeed

// fake is an engine that only takes time.
type fake struct {
	lengths, units int
	unit           time.Duration // that a unit takes
	step           time.Duration // of its progress, ten milliseconds at least
	tables         []engine.Table
	closes         bool                          // each length ends with a local unit
	cut            func(length int) []int        // ends of stages; one stage where nil
	broken         func(length, index int) error // what becomes of a unit
	plan           func()                        // called when a length is planned

	mu  sync.Mutex
	ran map[[2]int]int
}

func (f *fake) covered() uint64 { return uint64(f.unit.Seconds() * speed) }

func (f *fake) AtOnce() ([]storage.Finding, error) { return nil, nil }
func (f *fake) Tables() []engine.Table             { return f.tables }

func (f *fake) Note(out *storage.Tables, i int, _ engine.Content) {
	out.Count++
	out.Bytes += f.tables[i].Bytes
}

func (f *fake) Plan(length int) (storage.LengthPlan, []engine.Stage) {
	if f.plan != nil {
		f.plan()
	}
	ends := []int{f.units}
	if f.cut != nil {
		ends = f.cut(length)
	}
	var stages []engine.Stage
	first := 0
	for _, end := range ends {
		stages = append(stages, engine.Stage{First: first, Last: end})
		first = end
	}
	all := f.units
	if f.closes {
		stages = append(stages, engine.Stage{First: all, Last: all + 1, Local: true})
		all++
	}
	return storage.LengthPlan{Length: length, Words: "1", Leaves: f.covered() * uint64(f.units), Units: all}, stages
}

func (f *fake) Needs(_, _ int) (all []int) {
	for i := range f.tables {
		all = append(all, i)
	}
	return all
}

func (f *fake) Run(ctx context.Context, w engine.Work) (engine.Report, error) {
	f.mu.Lock()
	if f.ran == nil {
		f.ran = map[[2]int]int{}
	}
	f.ran[[2]int{w.Length, w.Index}]++
	f.mu.Unlock()
	if f.broken != nil {
		if err := f.broken(w.Length, w.Index); err != nil {
			return engine.Report{}, err
		}
	}
	if w.Index == f.units {
		return f.report(w.Length, w.Index), nil
	}
	step := max(10*time.Millisecond, f.step)
	for done := time.Duration(0); done < f.unit; done += step {
		select {
		case <-time.After(min(step, f.unit-done)):
		case <-ctx.Done():
			return engine.Report{}, ctx.Err()
		}
		if w.Progress != nil {
			w.Progress(uint64(step.Seconds() * speed))
		}
	}
	return f.report(w.Length, w.Index), nil
}

// report is what a unit brings back.
func (f *fake) report(length, index int) engine.Report {
	if index == f.units {
		return engine.Report{Length: length, Index: index}
	}
	return engine.Report{Length: length, Index: index, Covered: f.covered(), Found: []engine.Found{{Text: fmt.Sprintf("w%d-%d", length, index)}}}
}

func (f *fake) Accept(r engine.Report) (storage.Unit, error) {
	out := storage.Unit{Length: r.Length, Index: r.Index, Leaves: r.Covered}
	if r.Index < f.units && r.Covered != f.covered() {
		return out, errors.New("it covered other words than predicted")
	}
	for _, found := range r.Found {
		finding, err := f.Finding(found)
		if err != nil {
			return out, err
		}
		out.Found = append(out.Found, finding)
	}
	return out, nil
}

func (f *fake) Finding(found engine.Found) (storage.Finding, error) {
	out := storage.Finding{Class: 1, Size: 6, Text: found.Text, Axes: 2}
	index := 0
	_, err := fmt.Sscanf(found.Text, "w%d-%d", &out.Length, &index)
	out.ID = fmt.Sprintf("c%dx%d", out.Length, index)
	return out, err
}

func (f *fake) Enough(storage.Search) bool { return false }

// times tells how often units were begun, in all.
func (f *fake) times() (n int) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, times := range f.ran {
		n += times
	}
	return n
}

// blank is a table with nothing in it.
type blank struct{}

func (blank) Write(w io.Writer) error {
	_, err := io.WriteString(w, "blank")
	return err
}

// table is one that takes so long to make.
func table(key string, bytes int64, takes time.Duration) engine.Table {
	return engine.Table{
		Key: key, Bytes: bytes, Entries: 1,
		Build: func(ctx context.Context, _ int, _ func(uint64)) (engine.Content, error) {
			select {
			case <-time.After(takes):
				return blank{}, nil
			case <-ctx.Done():
				return nil, ctx.Err()
			}
		},
		Read: func(r io.Reader) (engine.Content, error) {
			_, err := io.ReadAll(r)
			return blank{}, err
		},
		Map: func([]byte) (engine.Content, error) { return blank{}, nil },
	}
}

// submit puts a search in the queue. What comes before a hyphen in its id is its owner.
func (n *night) submit(id string, f *fake, more ...func(*storage.Spec)) {
	n.t.Helper()
	definition := fmt.Sprintf("%p", f) // searches with one engine ask the same
	n.mu.Lock()
	n.works[definition] = f
	n.mu.Unlock()
	spec := storage.Spec{Puzzle: "fake", Definition: definition, Max: f.lengths, Classes: 100}
	spec.Work.Leaves = f.covered() * uint64(f.units*f.lengths)
	for _, t := range f.tables {
		spec.Work.Tables += t.Bytes
	}
	for _, m := range more {
		m(&spec)
	}
	owner, _, of := strings.Cut(id, "-")
	if !of {
		owner = ""
	}
	_, err := n.store.CreateSearch(n.t.Context(), storage.Request{By: owner}, id, spec)
	require.NoError(n.t, err)
	n.runner.Changed(n.t.Context(), id)
}

func (n *night) fake(s storage.Spec) *fake {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.works[s.Definition]
}

// move does what a user asks.
func (n *night) move(id string, to storage.State) {
	n.t.Helper()
	_, err := n.store.Move(n.t.Context(), storage.Request{}, id, to, storage.Detail{})
	require.NoError(n.t, err)
	n.runner.Changed(n.t.Context(), id)
}

func (n *night) delete(id string) {
	n.t.Helper()
	require.NoError(n.t, n.store.DeleteSearch(n.t.Context(), storage.Request{}, id))
	n.runner.Changed(n.t.Context(), id)
}

func (n *night) search(id string) storage.Search {
	n.t.Helper()
	s, err := n.store.Search(n.t.Context(), id)
	require.NoError(n.t, err)
	return s
}

// until lets time pass until a search is in a state, at most for so long, and tells how long it took.
func (n *night) until(id string, state storage.State, most time.Duration) time.Duration {
	n.t.Helper()
	begun := time.Now()
	changed, end := n.runner.Watch(id)
	defer end()
	for n.search(id).State != state {
		if time.Since(begun) > most {
			n.t.Fatalf("after %v %s is %s, not %s\n%s", most, id, n.search(id).State, state, n.log.text())
		}
		select {
		case <-changed:
		case <-time.After(time.Second):
		}
		if n.search(id).State.Ended() {
			break
		}
	}
	require.Equal(n.t, state, n.search(id).State, "%s\n%s", n.search(id).Error, n.log.text())
	return time.Since(begun)
}

// whole says that a search is done, each unit once.
func (n *night) whole(id string, f *fake) {
	n.t.Helper()
	s := n.search(id)
	require.Equal(n.t, storage.Done, s.State, s.Error)
	require.Equal(n.t, f.lengths, s.Proven)
	require.Len(n.t, s.Lengths, f.lengths)
	for _, l := range s.Lengths {
		require.True(n.t, l.Complete())
		require.Equal(n.t, l.Leaves, l.Covered)
	}
	require.Equal(n.t, f.lengths*f.units, s.Findings)
	require.Empty(n.t, s.Alarms)
}

// process is a worker in another process, whose every act the story tells.
type process struct {
	n    *night
	name string
	bad  error // its computer can do no unit
}

func (n *night) process(name string) *process {
	n.t.Helper()
	p := &process{n: n, name: name}
	_, err := n.runner.Attend(p.worker())
	require.NoError(n.t, err)
	return p
}

func (p *process) worker() Worker {
	return Worker{Name: p.name, Instance: p.name, Version: p.n.opt.Version, Host: "elsewhere", Slots: 1}
}

// lease takes a unit, and waits for it at most for so long.
func (p *process) lease(wait time.Duration) *work.Lease {
	p.n.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), wait)
	defer cancel()
	l, err := p.n.runner.Lease(ctx, Taker{Worker: p.name})
	require.NoError(p.n.t, err, p.n.log.text())
	return l
}

// none says that there is no unit to be had.
func (p *process) none() {
	p.n.t.Helper()
	l, err := p.n.runner.TryLease(context.Background(), Taker{Worker: p.name})
	require.NoError(p.n.t, err)
	require.Nil(p.n.t, l)
}

// beat says that it is at these units, and tells which it may drop.
func (p *process) beat(leases ...*work.Lease) []work.ID {
	p.n.t.Helper()
	_, err := p.n.runner.Attend(p.worker())
	require.NoError(p.n.t, err)
	var held []Held
	for _, l := range leases {
		held = append(held, Held{ID: l.ID})
	}
	return p.n.runner.Beat(p.name, held)
}

// keep beats for a while.
func (p *process) keep(d time.Duration, leases ...*work.Lease) {
	p.n.t.Helper()
	for end := time.Now().Add(d); time.Now().Before(end); time.Sleep(beatEvery) {
		require.Empty(p.n.t, p.beat(leases...))
	}
}

func ids(leases ...*work.Lease) (out []work.ID) {
	for _, l := range leases {
		out = append(out, l.ID)
	}
	return out
}

const beatEvery = 500 * time.Millisecond // as workers do

func (p *process) report(l *work.Lease) error {
	f := p.n.fake(l.Spec)
	return p.n.runner.Report(context.Background(), p.name, l.ID, f.report(l.Length, l.Index), f.unit)
}

// works has it do units by itself, in so many slots, until the function is called
// that this returns: it tells nobody.
func (p *process) works(slots int) (kill func()) {
	ctx, cancel := context.WithCancel(context.Background())
	h := &hands{process: p, slots: slots, held: map[work.ID]context.CancelFunc{}}
	var all sync.WaitGroup
	all.Go(func() { work.Run(ctx, h, h, slots, slog.New(slog.DiscardHandler)) })
	all.Go(func() { h.beats(ctx) })
	return func() {
		h.mu.Lock()
		h.dead = true
		h.mu.Unlock()
		cancel()
		all.Wait()
	}
}

// hands are the slots of a process.
type hands struct {
	*process
	slots int

	mu   sync.Mutex
	held map[work.ID]context.CancelFunc
	dead bool
}

var errDead = errors.New("the process is dead")

func (h *hands) beats(ctx context.Context) {
	for ctx.Err() == nil {
		h.mu.Lock()
		var held []Held
		for id := range h.held {
			held = append(held, Held{ID: id})
		}
		h.mu.Unlock()
		w := h.worker()
		w.Slots = h.slots
		_, _ = h.n.server.Load().Attend(w)
		for _, id := range h.n.server.Load().Beat(h.name, held) {
			h.mu.Lock()
			if stop := h.held[id]; stop != nil {
				stop()
			}
			h.mu.Unlock()
		}
		select {
		case <-time.After(beatEvery):
		case <-ctx.Done():
		}
	}
}

func (h *hands) Lease(ctx context.Context, _ int) (*work.Lease, error) {
	return h.take(h.n.server.Load().Lease(ctx, Taker{Worker: h.name}))
}

func (h *hands) Urgent(ctx context.Context, _ int) *work.Lease {
	if !h.n.server.Load().ShortWaits() {
		return nil
	}
	l, _ := h.take(h.n.server.Load().TryLease(ctx, Taker{Worker: h.name, Short: true}))
	return l
}

func (h *hands) take(l *work.Lease, err error) (*work.Lease, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if l == nil || h.dead {
		return nil, err
	}
	mine := *l
	mine.Context, h.held[l.ID] = context.WithCancel(context.Background())
	return &mine, err
}

// alive lets go of a unit, and tells whether there is anybody to say so.
func (h *hands) alive(l *work.Lease) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.held[l.ID]()
	delete(h.held, l.ID)
	return !h.dead
}

func (h *hands) Covered(*work.Lease, uint64) {}

func (h *hands) Report(ctx context.Context, l *work.Lease, r engine.Report, took time.Duration) error {
	if !h.alive(l) {
		return errDead
	}
	return h.n.server.Load().Report(ctx, h.name, l.ID, r, took)
}

func (h *hands) Fail(ctx context.Context, l *work.Lease, why error) error {
	if !h.alive(l) {
		return errDead
	}
	return h.n.server.Load().Fail(ctx, h.name, l.ID, why)
}

func (h *hands) Return(ctx context.Context, l *work.Lease) error {
	if !h.alive(l) {
		return errDead
	}
	return h.n.server.Load().Return(ctx, h.name, l.ID)
}

func (h *hands) Engine(_ context.Context, l *work.Lease) (engine.Engine, error) {
	return h.n.fake(l.Spec), h.bad
}

func (h *hands) Table(context.Context, *work.Lease, engine.Table) (engine.Content, func(), error) {
	return blank{}, func() {}, nil
}
