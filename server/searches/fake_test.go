package searches_test

import (
	"context"
	"fmt"
	"net"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/server/joins"
	"turnwright/server/page"
	"turnwright/server/puzzles"
	"turnwright/server/readings"
	"turnwright/server/schedule"
	"turnwright/server/searches"
	"turnwright/storage"
)

// fake is a store with one search and a runner that does nothing. What it does
// not answer panics.
type fake struct {
	searches.Store
	searches.Runner

	mu      sync.Mutex
	search  storage.Search
	err     error
	found   []storage.Finding // in rank order, which is the order of events too
	change  string            // what each of them does
	changed chan struct{}
}

// corners cycles three corners of the 3x3x3 and does nothing else.
const corners = "R' D' R U' R' D R U"

// night is a search of which so many findings were found.
func night(t *testing.T, found int) *fake {
	t.Helper()
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	g, err := goal.New(p, "corner", nil, nil)
	require.NoError(t, err)
	turns, err := notation.ParseTurns(p, corners)
	require.NoError(t, err)
	change, err := goal.Check(p, g, turns)
	require.NoError(t, err)
	f := &fake{change: change.String(), changed: make(chan struct{}, 1)}
	f.search = storage.Search{
		Submission: storage.Submission{Number: 7, ID: "night", Spec: storage.Spec{
			Puzzle: p.Name, Definition: p.Def.YAML(), Cycle: "corner", Metric: "stm", Max: 8,
		}},
		Progress: storage.Progress{State: storage.Running},
	}
	for range found {
		f.find()
	}
	return f
}

// find adds a finding.
func (f *fake) find() {
	f.search.Events++
	f.found = append(f.found, storage.Finding{
		ID: fmt.Sprintf("c%04d", f.search.Events), Class: int(f.search.Events), Size: 1,
		Change: f.change, Text: corners, Length: 8, Axes: 3,
		Revision: 1, Event: f.search.Events,
	})
}

func (f *fake) Search(context.Context, string) (storage.Search, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.search, f.err
}

func (f *fake) Findings(_ context.Context, _ string, q storage.FindingScan) (page []storage.Finding, err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.after(string(q.After), q.Until, q.Limit), f.err
}

func (f *fake) Events(_ context.Context, _ string, after uint64, limit int) ([]storage.Finding, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	var page []storage.Finding
	for _, one := range f.found {
		if one.Event > after && len(page) < limit {
			page = append(page, one)
		}
	}
	return page, f.err
}

func (f *fake) after(rank string, until uint64, limit int) (page []storage.Finding) {
	for _, one := range f.found {
		if string(one.Rank()) > rank && one.Event <= until && len(page) < limit {
			page = append(page, one)
		}
	}
	return page
}

func (f *fake) Watch(string) (<-chan struct{}, func()) { return f.changed, func() {} }

func (f *fake) Progress(string) schedule.Progress { return schedule.Progress{} }

// then does something to the search and wakes its watchers.
func (f *fake) then(do func()) {
	f.mu.Lock()
	do()
	f.mu.Unlock()
	f.changed <- struct{}{}
}

// served is a server in memory. ended receives what each stream ended with.
type served struct {
	findings v1.FindingServiceClient
	stopping chan struct{}
	ended    chan error
}

func serve(t *testing.T, f *fake) *served {
	t.Helper()
	s := &served{stopping: make(chan struct{}), ended: make(chan error, 10)}
	library := puzzles.NewLibrary(nil)
	service := searches.NewService(f, f, nil, library, page.NewTokens([]byte("key")), 1<<20)
	read := readings.New()
	findings := searches.NewFindings(service, read, joins.New(f, library, read), s.stopping)
	g := grpc.NewServer(grpc.WaitForHandlers(true), grpc.StreamInterceptor(
		func(srv any, stream grpc.ServerStream, _ *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
			err := handler(srv, stream)
			s.ended <- err
			return err
		}))
	v1.RegisterFindingServiceServer(g, findings)
	lis := bufconn.Listen(1 << 16)
	done := make(chan error, 1)
	go func() { done <- g.Serve(lis) }()
	conn, err := grpc.NewClient("passthrough:///memory",
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return lis.DialContext(ctx) }),
	)
	require.NoError(t, err)
	s.findings = v1.NewFindingServiceClient(conn)
	t.Cleanup(func() {
		require.NoError(t, conn.Close())
		g.Stop()
		require.NoError(t, <-done)
		findings.Wait()
	})
	return s
}
