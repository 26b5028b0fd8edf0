package torture

import (
	"context"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
	"turnwright/storage"
)

// insist makes a call until the server answers, or says no. The server may be away.
func insist[Q, A any](ctx context.Context, call func(context.Context, Q) (A, error), request Q) (A, error) {
	for {
		answer, err := call(ctx, request)
		if code := status.Code(err); code != codes.Unavailable && code != codes.DeadlineExceeded || ctx.Err() != nil {
			return answer, err
		}
		pause(ctx, 50*time.Millisecond)
	}
}

// pause waits before something is tried again.
func pause(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
	}
}

// submit sends a search until it is acknowledged, and then once more.
func submit(ctx context.Context, c *client.Client, search *v1.Search) (Submission, error) {
	out := Submission{Request: client.NewRequestID()}
	for range 2 {
		created, err := insist(ctx, func(ctx context.Context, r *v1.CreateSearchRequest) (*v1.CreateSearchResponse, error) {
			return c.Searches.CreateSearch(ctx, r)
		}, &v1.CreateSearchRequest{Search: search, RequestId: out.Request})
		if err != nil {
			return out, err
		}
		out.Names = append(out.Names, created.GetSearch().GetName())
	}
	return out, nil
}

// follower follows a search and writes down what comes. It can be interrupted, and
// then goes on from the last cursor that it wrote down.
type follower struct {
	client *client.Client
	search string
	name   string

	mu        sync.Mutex
	events    []Event
	cursor    string
	interrupt context.CancelFunc
	wanted    *State // reached is closed once the search is so far
	reached   chan struct{}
}

// run follows until the search has ended.
func (f *follower) run(ctx context.Context) error {
	for {
		once, interrupt := context.WithCancel(ctx)
		f.mu.Lock()
		f.interrupt = interrupt
		cursor := f.cursor
		f.mu.Unlock()
		err := f.client.Follow(once, f.search, cursor, f.note)
		broken := once.Err() != nil && ctx.Err() == nil
		interrupt()
		if err == nil || !broken {
			return err
		}
	}
}

func (f *follower) note(e *v1.StreamFindingsResponse) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.cursor = e.GetCursor()
	switch {
	case e.GetFinding() != nil:
		f.events = append(f.events, Event{Finding: findingOf(e.GetFinding())})
	case e.GetSearch() != nil:
		s := e.GetSearch()
		is := State{
			State: s.GetState().String(), Ended: s.GetEndTime() != nil, Proven: int(s.GetProvenLength()),
			Length: int(s.GetProgress().GetLength()), Units: int(s.GetProgress().GetUnitsDone()),
		}
		f.events = append(f.events, Event{State: &is})
		if w := f.wanted; w != nil && (is.Ended || is.Length >= w.Length && is.Units >= w.Units) {
			close(f.reached)
			f.wanted = nil
		}
	}
	return nil
}

// breakOff drops the client's call, as if its computer had gone to sleep.
func (f *follower) breakOff() {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.interrupt != nil {
		f.interrupt()
	}
}

func (f *follower) seen() Client {
	f.mu.Lock()
	defer f.mu.Unlock()
	return Client{Name: f.name, Events: slices.Clone(f.events)}
}

func findingOf(f *v1.Finding) *Finding {
	return &Finding{Name: client.ID(f.GetName()), Revision: int(f.GetRevision()), Sequence: f.GetSequence(), Length: int(f.GetLength())}
}

// summary asks the server what came of a search.
func summary(t *testing.T, c *client.Client, name string) Summary {
	t.Helper()
	got, err := c.Searches.GetSearch(t.Context(), &v1.GetSearchRequest{Name: name})
	require.NoError(t, err)
	s := got.GetSearch()
	out := Summary{State: s.GetState().String(), Proven: int(s.GetProvenLength()), Nodes: s.GetNodes(), Alarms: s.GetAlarms()}
	for _, l := range s.GetLengths() {
		out.Lengths = append(out.Lengths, Length{
			Length: int(l.GetLength()), Classes: int(l.GetClasses()), Cycles: l.GetCycles(),
			Words: l.GetWords(), Leaves: l.GetLeaves(), Nodes: l.GetNodes(),
		})
	}
	findings, err := client.Collect(c.AllFindings(t.Context(), name))
	require.NoError(t, err)
	for _, f := range findings {
		out.Findings = append(out.Findings, *findingOf(f))
	}
	return out
}

// stored reads what the store has of the searches. Nothing serves it any more.
func stored(t *testing.T, dir string, h *History) {
	t.Helper()
	store, err := storage.Open(storage.Options{Dir: dir})
	require.NoError(t, err)
	defer func() { require.NoError(t, store.Close()) }()
	for i := range h.Searches {
		s := &h.Searches[i]
		id := client.ID(s.Name)
		record, err := store.Search(t.Context(), id)
		require.NoError(t, err)
		for _, l := range record.Lengths {
			units, err := store.DoneUnits(t.Context(), id, l.Length)
			require.NoError(t, err)
			s.Stored = append(s.Stored, StoredLength{
				Length: l.Length, Open: l.Open, Units: l.Units, Done: l.Done, Records: len(units),
				Leaves: l.Leaves, Covered: l.Covered, Complete: l.Complete(),
			})
		}
	}
	require.NoError(t, store.Check(t.Context(), false, func(p storage.Problem) error {
		h.Faults = append(h.Faults, p.At+": "+p.What)
		return nil
	}))
}

// question is a search to be done, and when it is submitted: after so much of the kills.
type question struct {
	name   string
	search *v1.Search
	after  float64
}

// calm does the searches one after another, and nothing is killed.
func calm(t *testing.T, program string, questions []question) map[string]Summary {
	t.Helper()
	f := newFleet(t, program, 2, 0)
	c := f.dial()
	out := map[string]Summary{}
	for _, q := range questions {
		made, err := submit(t.Context(), c, q.search)
		require.NoError(t, err)
		require.NoError(t, (&follower{client: c, search: made.Names[0]}).run(t.Context()))
		out[q.name] = summary(t, c, made.Names[0])
		require.Equal(t, Done, out[q.name].State)
	}
	f.stop()
	return out
}

// storm is a run in which processes are killed.
type storm struct {
	kills int
	every time.Duration // between two kills, on average
	seed  uint64
	from  *State // they begin once the first search is so far, and the first hits all; at once where nil
}

// tally is what happened in a storm.
type tally struct {
	kills    map[string]int // by member
	early    int            // before the searches had ended
	restarts int
	lost     int   // units that were given to others, as nothing was heard of a worker
	breaks   int   // calls that clients broke off
	own      int64 // units that servers did themselves, as far as it was seen
	others   int64 // and worker processes
	took     time.Duration
}

// look adds up who did units, before a server is killed that counted them.
func (n *tally) look(ctx context.Context, c *client.Client) {
	ctx, stop := context.WithTimeout(ctx, time.Second)
	defer stop()
	for w, err := range c.AllWorkers(ctx) {
		switch {
		case err != nil: // it is not up
			return
		case client.ID(w.GetName()) == "server":
			n.own += w.GetUnitsDone()
		default:
			n.others += w.GetUnitsDone()
		}
	}
}

// do does the searches while processes are killed, and writes down what happened.
// Each search has a client that is there from the beginning, and one that comes late.
func (st storm) do(t *testing.T, program string, questions []question, was map[string]Summary, env ...string) (History, tally) {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	rng := rand.New(rand.NewPCG(st.seed, 1))
	begun := time.Now()
	f := newFleet(t, program, 1, 2, env...)
	c := f.dial()
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("the server said:\n%s", f.said(f.members[0]))
		}
	})

	var mu sync.Mutex
	var followers []*follower
	h := History{Submissions: make([]Submission, len(questions)), Searches: make([]Search, len(questions))}
	half, reached := make(chan struct{}), make(chan struct{})
	var clients sync.WaitGroup
	defer clients.Wait()
	defer stop() // where the test fails before they are done
	until := func(ch chan struct{}) {
		select {
		case <-ch:
		case <-ctx.Done():
		}
	}
	follow := func(search, name string) *follower {
		// A connection of its own, as another program would have.
		w := &follower{client: f.dial(), search: search, name: name}
		mu.Lock()
		defer mu.Unlock()
		followers = append(followers, w)
		return w
	}
	due := make([]chan struct{}, len(questions))
	for i, q := range questions {
		due[i] = make(chan struct{})
		clients.Go(func() {
			until(due[i])
			made, err := submit(ctx, c, q.search)
			if !assert.NoError(t, err, "submit") {
				return
			}
			name := made.Names[0]
			early := follow(name, "early")
			if i == 0 && st.from != nil {
				early.wanted, early.reached = st.from, reached
			}
			clients.Go(func() {
				until(half)
				late := follow(name, "late")
				assert.NoError(t, late.run(ctx), "follow %s late", q.name)
				mu.Lock()
				defer mu.Unlock()
				h.Searches[i].Clients = append(h.Searches[i].Clients, late.seen())
			})
			assert.NoError(t, early.run(ctx), "follow %s", q.name)
			mu.Lock()
			defer mu.Unlock()
			h.Submissions[i] = made
			h.Searches[i].Name, h.Searches[i].Calm = name, was[q.name]
			h.Searches[i].Clients = append(h.Searches[i].Clients, early.seen())
		})
	}
	done := make(chan struct{})
	go func() { // ends with the clients
		clients.Wait()
		close(done)
	}()

	n := tally{kills: map[string]int{}}
	open := func(ch chan struct{}) {
		select {
		case <-ch:
		default:
			close(ch)
		}
	}
	for k := 0; ; {
		for i, q := range questions {
			if float64(k) >= q.after*float64(st.kills) {
				open(due[i])
			}
		}
		if 2*k >= st.kills {
			open(half)
		}
		if k >= st.kills {
			break
		}
		if k == 0 && st.from != nil {
			until(reached)
		} else {
			pause(ctx, time.Duration(rng.Int64N(2*int64(st.every))))
		}
		if rng.IntN(4) == 0 {
			mu.Lock()
			if len(followers) > 0 {
				followers[rng.IntN(len(followers))].breakOff()
				n.breaks++
			}
			mu.Unlock()
		}
		victims := []*member{f.members[rng.IntN(len(f.members))]}
		if rng.IntN(10) == 0 || k == 0 && st.from != nil {
			victims = f.members // as if the host lost its power
		}
		for _, m := range victims {
			if m == f.members[0] {
				n.look(ctx, c)
			}
			f.kill(m)
			n.kills[m.name]++
			k++
			select {
			case <-done:
			default:
				n.early++
			}
		}
	}
	<-done
	n.took = time.Since(begun)
	n.look(ctx, c)

	list, err := client.Collect(c.AllSearches(t.Context()))
	require.NoError(t, err)
	for _, s := range list {
		h.Kept = append(h.Kept, s.GetName())
	}
	for i := range h.Searches {
		h.Searches[i].End = summary(t, c, h.Searches[i].Name)
	}
	f.stop()
	stored(t, f.dir, &h)
	n.restarts, n.lost = f.restarts, f.lost()
	return h, n
}
