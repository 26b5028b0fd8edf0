package torture

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/storage"
)

// full tells whether loads have the size of a club's worst night, not that of a test
// that runs each time:
//
//	TURNWRIGHT_LOAD=full go test ./server/torture -run 'TestLists|TestSubmitting|TestWatchers|TestSoak|TestTwo' -v -timeout 1h
//
// None of these tests asserts a time: they print what they measure.
var full = os.Getenv("TURNWRIGHT_LOAD") == "full"

func sized[T any](whole, part T) T {
	if full {
		return whole
	}
	return part
}

// spread is how long calls took.
type spread []time.Duration

func (s *spread) time(call func() error) error {
	begun := time.Now()
	err := call()
	*s = append(*s, time.Since(begun))
	return err
}

func (s spread) String() string {
	if len(s) == 0 {
		return "never"
	}
	slices.Sort(s)
	at := func(q float64) time.Duration { return s[int(q*float64(len(s)-1))].Round(10 * time.Microsecond) }
	return fmt.Sprintf("median %v, 99 %% %v, most %v of %d", at(0.5), at(0.99), at(1), len(s))
}

// crowd fills a directory with searches that wait and one that found much.
func crowd(t *testing.T, dir string, searches, findings int) (rich string) {
	t.Helper()
	store, err := storage.Open(storage.Options{Dir: dir, MaxActive: searches + 1})
	require.NoError(t, err)
	defer func() { require.NoError(t, store.Close()) }()
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	ctx := t.Context()
	spec := storage.Spec{
		Puzzle: p.Name, Definition: p.Def.YAML(), Cycle: "corner", Metric: "obtm", Max: 16, Memory: 1 << 20, Classes: 1 << 20,
	}
	begun := time.Now()
	_, err = store.CreateSearch(ctx, storage.Request{}, "rich", spec)
	require.NoError(t, err)
	for _, to := range []storage.State{storage.Preparing, storage.Running} {
		_, err = store.Move(ctx, storage.Request{}, "rich", to, storage.Detail{})
		require.NoError(t, err)
	}
	const batch = 1500
	for length := 1; length <= 16; length++ {
		plan := storage.LengthPlan{Length: length, Words: "1"}
		if length == 16 {
			plan.Units = findings/batch + 2 // the last is never done
		}
		_, err = store.BeginLength(ctx, "rich", plan)
		require.NoError(t, err)
	}
	corners := corners(t, p)
	for unit := 0; unit*batch < findings; unit++ {
		u := storage.Unit{Length: 16, Index: unit}
		for i := unit * batch; i < min(findings, (unit+1)*batch); i++ {
			u.Found = append(u.Found, corners(i))
		}
		_, err := store.CommitUnit(ctx, "rich", u)
		require.NoError(t, err)
	}
	_, err = store.Move(ctx, storage.Request{}, "rich", storage.Cancelled, storage.Detail{})
	require.NoError(t, err)
	t.Logf("%d findings written in %v", findings, time.Since(begun).Round(time.Millisecond))
	begun = time.Now()
	for i := range searches {
		spec := storage.Spec{
			Puzzle: p.Name, Definition: p.Def.YAML(), Metric: "obtm", Max: 20, Memory: 1 << 20, Work: storage.Work{Entries: 1 << 20, Tables: 1 << 20},
			Position: &storage.Position{Scramble: scramble(i), All: true},
		}
		_, err := store.CreateSearch(ctx, storage.Request{}, fmt.Sprintf("queued-%d", i), spec)
		require.NoError(t, err)
	}
	t.Logf("%d searches written in %v", searches, time.Since(begun).Round(time.Millisecond))
	return "searches/rich"
}

// corners gives findings of which each is another cycle of three corners: a known one
// after other turns that set it up.
func corners(t *testing.T, p *puzzle.Puzzle) func(i int) storage.Finding {
	t.Helper()
	const known = "R' D' R U' R' D R U"
	turns, err := notation.ParseTurns(p, known)
	require.NoError(t, err)
	g, err := goal.New(p, "corner", nil, nil)
	require.NoError(t, err)
	change, err := goal.Check(p, g, turns)
	require.NoError(t, err)
	return func(i int) storage.Finding {
		var setup, undo []string
		for n, k := i, 0; k < 4; k++ {
			face := "RULDFB"[n%6]
			setup = append(setup, fmt.Sprintf("%c%s", face, []string{"", "2", "'"}[n/6%3]))
			undo = append(undo, fmt.Sprintf("%c%s", face, []string{"'", "2", ""}[n/6%3]))
			n /= 18
		}
		slices.Reverse(undo)
		return storage.Finding{
			ID: fmt.Sprintf("c%d", i+1), Class: i + 1, Size: 24, Change: change.String(), Length: 16, Axes: 3,
			Text: strings.Join(setup, " ") + " " + known + " " + strings.Join(undo, " "),
		}
	}
}

// TestLists measures lists, pages and streams where there is much to list.
func TestLists(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	searches, findings := sized(10_000, 300), sized(1_000_000, 3_000)
	dir := t.TempDir()
	rich := crowd(t, dir, searches, findings)
	begun := time.Now()
	s := serve(t, dir, -1)
	c := s.dial()
	ctx := t.Context()
	_, err := c.Searches.GetSearch(ctx, &v1.GetSearchRequest{Name: rich})
	require.NoError(t, err)
	t.Logf("answers %v after its start", time.Since(begun).Round(time.Millisecond))

	var get, list, whole, first, page, thousand, event spread
	for i := range sized(1000, 50) {
		require.NoError(t, get.time(func() error {
			_, err := c.Searches.GetSearch(ctx, &v1.GetSearchRequest{Name: fmt.Sprintf("searches/queued-%d", i*7%searches)})
			return err
		}))
	}
	t.Logf("one search:             %v", get)
	n, token := 0, ""
	require.NoError(t, whole.time(func() error {
		for {
			var got *v1.ListSearchesResponse
			err := list.time(func() (err error) {
				got, err = c.Searches.ListSearches(ctx, &v1.ListSearchesRequest{PageToken: token})
				return err
			})
			n += len(got.GetSearches())
			if token = got.GetNextPageToken(); err != nil || token == "" {
				return err
			}
		}
	}))
	assert.Equal(t, searches+1, n)
	t.Logf("50 searches:            %v", list)
	t.Logf("all of them:            %v", whole)

	for range sized(200, 10) {
		require.NoError(t, first.time(func() error {
			_, err := c.Findings.ListFindings(ctx, &v1.ListFindingsRequest{Parent: rich})
			return err
		}))
	}
	t.Logf("the best 50 findings:   %v", first)
	token = ""
	for range sized(200, 10) {
		var got *v1.ListFindingsResponse
		require.NoError(t, page.time(func() (err error) {
			got, err = c.Findings.ListFindings(ctx, &v1.ListFindingsRequest{Parent: rich, PageToken: token})
			return err
		}))
		token = got.GetNextPageToken()
	}
	t.Logf("the next 50, each new:  %v", page)
	for range sized(20, 1) {
		var got *v1.ListFindingsResponse
		require.NoError(t, thousand.time(func() (err error) {
			got, err = c.Findings.ListFindings(ctx, &v1.ListFindingsRequest{Parent: rich, PageToken: token, PageSize: 1000})
			return err
		}))
		token = got.GetNextPageToken()
	}
	t.Logf("the next 1000:          %v", thousand)

	var opened spread
	for range sized(200, 20) {
		require.NoError(t, opened.time(func() error {
			ctx, cancel := context.WithCancel(ctx)
			defer cancel()
			stream, err := c.Findings.StreamFindings(ctx, &v1.StreamFindingsRequest{Parent: rich})
			if err == nil {
				_, err = stream.Recv()
			}
			return err
		}))
	}
	t.Logf("a stream's first event: %v", opened)
	enough := errors.New("enough")
	most := sized(50_000, 1_000)
	last, begun := time.Now(), time.Now()
	n = 0
	err = c.Follow(ctx, rich, "", func(*v1.StreamFindingsResponse) error {
		event = append(event, time.Since(last))
		last = time.Now()
		if n++; n == most {
			return enough
		}
		return nil
	})
	require.ErrorIs(t, err, enough)
	t.Logf("from event to event:    %v; %.0f events a second", event, float64(n)/time.Since(begun).Seconds())
}

// night is a search that takes hours.
func night() *v1.Search {
	s := triangles(12, sized[int64](200<<20, 1<<20))
	s.Priority = 10
	return s
}

// covered is how many leaves a search has covered, of all lengths.
func covered(ctx context.Context, c *client.Client, name string) (uint64, error) {
	got, err := c.Searches.GetSearch(ctx, &v1.GetSearchRequest{Name: name})
	n := got.GetSearch().GetProgress().GetLeavesCovered()
	for _, l := range got.GetSearch().GetLengths() {
		n += l.GetLeaves()
	}
	return n, err
}

// rate is how many leaves a search covers in a second, measured for a while.
func rate(t *testing.T, c *client.Client, name string, d time.Duration) float64 {
	t.Helper()
	begun := time.Now()
	before, err := covered(t.Context(), c, name)
	require.NoError(t, err)
	pause(t.Context(), d)
	after, err := covered(t.Context(), c, name)
	require.NoError(t, err)
	return float64(after-before) / time.Since(begun).Seconds()
}

// begin submits a search that takes hours, and waits until it is at a length that lasts:
// leaves of another length may take another time.
func begin(t *testing.T, c *client.Client) string {
	t.Helper()
	made, err := submit(t.Context(), c, night())
	require.NoError(t, err)
	name := made.Names[0]
	w := &follower{client: c, search: name, wanted: &State{Length: sized(10, 9), Units: sized(10, 1)}, reached: make(chan struct{})}
	ctx, stop := context.WithCancel(t.Context())
	var following sync.WaitGroup
	following.Go(func() { _ = w.run(ctx) }) // ends as it is stopped
	<-w.reached
	stop()
	following.Wait()
	return name
}

// compare measures a search's rate by turns, without a load and under it, and prints
// what the load costs it.
func compare(t *testing.T, c *client.Client, name string, turns int, each time.Duration, under func(ctx context.Context)) {
	t.Helper()
	var costs []float64
	for range turns {
		before := rate(t, c, name, each)
		ctx, stop := context.WithCancel(t.Context())
		var loading sync.WaitGroup
		loading.Go(func() { under(ctx) })
		during := rate(t, c, name, each)
		stop()
		loading.Wait()
		after := rate(t, c, name, each)
		costs = append(costs, 1-2*during/(before+after))
		t.Logf("%.1f million leaves a second before, %.1f under load, %.1f after: %.1f %% less", before/1e6, during/1e6, after/1e6, 100*costs[len(costs)-1])
	}
	slices.Sort(costs)
	t.Logf("the load costs %.1f %% of the rate (median)", 100*costs[len(costs)/2])
}

// scramble is another one for each number.
func scramble(n int) string {
	s := "R2 F' D L' U2 B R D' F2 L U' B2 R'"
	for ; n > 0; n /= 18 {
		s += fmt.Sprintf(" %c%s", "ULFDBR"[n%6], []string{"", "2", "'"}[n/6%3])
	}
	return s
}

// waiting is a search that takes hours and waits behind all others: of three one for the
// demo puzzle, one for the 3x3x3, and one for a position that is another each time.
func waiting(n int) *v1.Search {
	s := triangles(int32(sized(12, 8)+n%4), 1<<20) // the longer, the longer its plan takes
	switch n % 3 {
	case 1:
		s.Goal = &v1.Goal{Puzzle: "puzzles/3x3x3", Cycle: []string{"edge", "corner"}[n%2]}
		s.Metric, s.MaxLength = v1.Metric_METRIC_OBTM, int32(14+n%4)
	case 2:
		s.Goal, s.Position = nil, &v1.Position{Puzzle: "puzzles/3x3x3", Scramble: scramble(n), All: true}
		s.Metric, s.MaxLength = v1.Metric_METRIC_OBTM, 20
	}
	s.Priority = -10
	return s
}

func create(ctx context.Context, c *client.Client, n int) error {
	_, err := c.Searches.CreateSearch(ctx, &v1.CreateSearchRequest{Search: waiting(n), RequestId: client.NewRequestID()})
	return err
}

// submitting submits searches, so many a minute, from so many clients as keep it up
// where each has to wait for its answer.
func submitting(t *testing.T, c *client.Client, perMinute int, took *spread) func(ctx context.Context) {
	const clients = 4
	return func(ctx context.Context) {
		var number atomic.Int64
		var each [clients]spread
		var done sync.WaitGroup
		for i := range each {
			done.Go(func() {
				tick := time.NewTicker(clients * time.Minute / time.Duration(perMinute))
				defer tick.Stop()
				for {
					err := each[i].time(func() error { return create(ctx, c, int(number.Add(1))) })
					if ctx.Err() != nil || status.Code(err) == codes.DeadlineExceeded { // the call may know first that time is up
						each[i] = each[i][:len(each[i])-1]
						return
					}
					if !assert.NoError(t, err) {
						return
					}
					select {
					case <-tick.C:
					case <-ctx.Done():
						return
					}
				}
			})
		}
		done.Wait()
		for _, s := range each {
			*took = append(*took, s...)
		}
	}
}

// TestSubmittingBesideASearch measures what a thousand submissions a minute cost the
// search that is under way.
func TestSubmittingBesideASearch(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	c := serve(t, t.TempDir(), 2).dial()
	name := begin(t, c)
	// To plan a goal that nobody has asked for yet takes up to seconds of one core, once.
	// It is measured apart: what goes on all night is submissions of what is known.
	var first, took spread
	for n := range 12 {
		require.NoError(t, first.time(func() error { return create(t.Context(), c, n) }))
	}
	t.Logf("the first submission for each goal takes: %v", first)
	compare(t, c, name, sized(5, 1), sized(20*time.Second, time.Second), submitting(t, c, 1000, &took))
	t.Logf("a submission takes: %v", took)
}

// watching follows a search with so many clients, on ten connections, and counts what comes.
func watching(t *testing.T, s *served, name string, n int, events *atomic.Int64) func(ctx context.Context) {
	return func(ctx context.Context) {
		var all []*client.Client
		for range 10 {
			c, err := client.Dial(s.address)
			if !assert.NoError(t, err) {
				return
			}
			defer c.Close()
			all = append(all, c)
		}
		var clients sync.WaitGroup
		for i := range n {
			clients.Go(func() {
				err := all[i%len(all)].Follow(ctx, name, "", func(*v1.StreamFindingsResponse) error {
					events.Add(1)
					return nil
				})
				if ctx.Err() == nil {
					assert.NoError(t, err)
				}
			})
		}
		clients.Wait()
	}
}

// TestWatchers measures what two hundred clients cost the search that they watch.
func TestWatchers(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	s := serve(t, t.TempDir(), 2)
	c := s.dial()
	name := begin(t, c)
	var events atomic.Int64
	compare(t, c, name, sized(3, 1), sized(20*time.Second, time.Second), watching(t, s, name, sized(200, 50), &events))
	t.Logf("%d events", events.Load())
}

// TestTwoWorkers measures what two worker processes do in the time of one, on a host
// with two cores that have nothing else to do. It takes some minutes.
func TestTwoWorkers(t *testing.T) {
	if !full {
		t.Skip("needs a quiet host: TURNWRIGHT_LOAD=full")
	}
	program := build(t)
	measure := func(workers int) float64 {
		f := newFleet(t, program, 0, workers)
		defer f.stop()
		c := f.dial()
		return rate(t, c, begin(t, c), 20*time.Second)
	}
	var ratios []float64
	for range 3 {
		one, two := measure(1), measure(2)
		ratios = append(ratios, two/one)
		t.Logf("one worker process covers %.1f million leaves a second, two %.1f: %.2f times as many", one/1e6, two/1e6, two/one)
	}
	slices.Sort(ratios)
	t.Logf("two worker processes do %.2f times as much as one (median of %d)", ratios[1], len(ratios))
}

// TestSoak has a server search, be watched, listed, asked and given searches for as
// long as TURNWRIGHT_SOAK says, such as 20m, and prints what it takes of memory.
func TestSoak(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	lasts := sized(time.Minute, 4*time.Second)
	if text := os.Getenv("TURNWRIGHT_SOAK"); text != "" {
		var err error
		lasts, err = time.ParseDuration(text)
		require.NoError(t, err)
	}
	s := serve(t, t.TempDir(), 2)
	c := s.dial()
	name := begin(t, c)
	ctx, stop := context.WithTimeout(t.Context(), lasts)
	defer stop()
	var events atomic.Int64
	var took spread
	var loading sync.WaitGroup
	loading.Go(func() { watching(t, s, name, sized(50, 10), &events)(ctx) })
	loading.Go(func() { submitting(t, c, sized(30, 120), &took)(ctx) })
	loading.Go(func() { // lists what there is, and cancels and deletes what was submitted
		for ctx.Err() == nil {
			pause(ctx, sized(10*time.Second, time.Second))
			searches, _ := client.Collect(c.AllSearches(ctx))
			for _, one := range searches {
				if one.GetName() != name {
					_, _ = c.Searches.CancelSearch(ctx, &v1.CancelSearchRequest{Name: one.GetName(), RequestId: client.NewRequestID()})
					_, _ = c.Searches.DeleteSearch(ctx, &v1.DeleteSearchRequest{Name: one.GetName(), RequestId: client.NewRequestID()})
				}
			}
			_, _ = client.Collect(c.AllFindings(ctx, name))
		}
	})
	begun := time.Now()
	for ctx.Err() == nil {
		pause(ctx, lasts/8)
		debug.FreeOSMemory()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		t.Logf("%4.0f s: %4d goroutines, %5.1f MiB of heap in use, %5.1f MiB from the system, %d events",
			time.Since(begun).Seconds(), runtime.NumGoroutine(), float64(m.HeapAlloc)/(1<<20), float64(m.Sys-m.HeapReleased)/(1<<20), events.Load())
	}
	loading.Wait()
	t.Logf("a submission takes: %v", took)
}

// TestAbandonedStreams opens streams by the thousand and drops them: some read
// something first, some do not, and of some the whole connection goes.
func TestAbandonedStreams(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	dir := t.TempDir()
	rich := crowd(t, dir, 1, 500)
	s := serve(t, dir, -1)
	c := s.dial()
	ask := func() error {
		_, err := c.Searches.GetSearch(t.Context(), &v1.GetSearchRequest{Name: rich})
		return err
	}
	require.NoError(t, ask())
	before := runtime.NumGoroutine()
	rounds := sized(50, 10)
	for range rounds {
		abandon(t, s, []string{rich, "searches/queued-0"}, 100)
	}
	require.NoError(t, ask())
	// What was dropped ends soon; where it does not, the test fails as it takes too long.
	after := runtime.NumGoroutine()
	for after > before+5 {
		pause(t.Context(), 50*time.Millisecond)
		after = runtime.NumGoroutine()
	}
	t.Logf("%d streams: %d goroutines before, %d after", 100*rounds, before, after)
	require.NoError(t, ask())
}

// abandon opens so many streams at once on one connection.
func abandon(t *testing.T, s *served, searches []string, n int) {
	t.Helper()
	c, err := client.Dial(s.address)
	require.NoError(t, err)
	var open sync.WaitGroup
	var stops []context.CancelFunc
	for i := range n {
		ctx, stop := context.WithCancel(t.Context())
		stops = append(stops, stop)
		open.Go(func() {
			stream, err := c.Findings.StreamFindings(ctx, &v1.StreamFindingsRequest{Parent: searches[i%len(searches)]})
			if !assert.NoError(t, err) {
				return
			}
			for range i % 3 / (1 + i%2) { // of the search that waits there is one event
				_, err := stream.Recv()
				assert.NoError(t, err)
			}
			if i%5 == 0 { // reads no more, and does not hang up
				return
			}
			stop()
		})
	}
	open.Wait()
	if rand.IntN(2) == 0 { // the connection goes first
		require.NoError(t, c.Close())
	}
	for _, stop := range stops {
		stop()
	}
	_ = c.Close()
}
