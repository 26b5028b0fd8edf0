package server_test

import (
	"context"
	"net"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server"
)

func TestMain(m *testing.M) {
	goleak.VerifyTestMain(m,
		// Badger's caches leave one behind that no call ends.
		goleak.IgnoreAnyFunction("github.com/dgraph-io/ristretto/v2.(*lfuPolicy[...]).processItems"),
		goleak.IgnoreTopFunction("github.com/golang/glog.(*fileSink).flushDaemon"),
	)
}

// running is a server on loopback and a connection to it.
type running struct {
	address    string
	conn       *grpc.ClientConn
	puzzles    v1.PuzzleServiceClient
	effects    v1.EffectServiceClient
	searches   v1.SearchServiceClient
	findings   v1.FindingServiceClient
	coverage   v1.CoverageServiceClient
	fits       v1.FitServiceClient
	insertions v1.InsertionServiceClient
	studies    v1.StudyServiceClient
	stop       func() // ends the server and waits
}

// start serves a directory until the test ends, or stop is called.
func start(t *testing.T, dir string) *running {
	t.Helper()
	s, err := server.New(server.Options{DataDir: dir, Workers: 2, Memory: 64 << 20})
	require.NoError(t, err)
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, lis) }()
	conn, err := grpc.NewClient(lis.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	r := &running{
		address: lis.Addr().String(), conn: conn,
		puzzles: v1.NewPuzzleServiceClient(conn), effects: v1.NewEffectServiceClient(conn),
		searches: v1.NewSearchServiceClient(conn), findings: v1.NewFindingServiceClient(conn),
		coverage: v1.NewCoverageServiceClient(conn), fits: v1.NewFitServiceClient(conn),
		insertions: v1.NewInsertionServiceClient(conn),
		studies:    v1.NewStudyServiceClient(conn),
	}
	stopped := false
	r.stop = func() {
		if stopped {
			return
		}
		stopped = true
		require.NoError(t, conn.Close())
		cancel()
		require.NoError(t, <-done)
		require.NoError(t, s.Close())
	}
	t.Cleanup(r.stop)
	return r
}

// edges asks for 3-cycles of edges of the 3x3x3 with corners left free.
func edges(max int32) *v1.Search {
	return &v1.Search{
		Goal:      &v1.Goal{Puzzle: "puzzles/3x3x3", Cycle: "edge", Ignore: []string{"corner"}},
		Metric:    v1.Metric_METRIC_OBTM,
		MaxLength: max,
	}
}

// triangles asks for the pure 3-cycles of the demo puzzle's triangles.
func triangles(max int32) *v1.Search {
	return &v1.Search{
		Goal:      &v1.Goal{Puzzle: "puzzles/vertex-cut-dodecahedron", Cycle: "triangle"},
		MaxLength: max,
	}
}

// endless is a search that soon has findings, and no end within a test. Its plan takes
// a moment; those of larger puzzles take half a minute under the race detector.
func endless() *v1.Search {
	s := edges(14)
	s.MemoryBytes = 1 << 20 // small tables are made in no time
	return s
}

func (r *running) create(t *testing.T, id string, s *v1.Search) string {
	t.Helper()
	created, err := r.searches.CreateSearch(t.Context(), &v1.CreateSearchRequest{Search: s, SearchId: id, RequestId: "create-" + id})
	require.NoError(t, err)
	require.Equal(t, "searches/"+id, created.GetSearch().GetName())
	return created.GetSearch().GetName()
}

// finish follows a search to its end and returns it.
func (r *running) finish(t *testing.T, name string) *v1.Search {
	t.Helper()
	stream, err := r.findings.StreamFindings(t.Context(), &v1.StreamFindingsRequest{Parent: name})
	require.NoError(t, err)
	var last *v1.Search
	for {
		event, err := stream.Recv()
		if err != nil {
			require.ErrorContains(t, err, "EOF")
			return last
		}
		if event.GetSearch() != nil {
			last = event.GetSearch()
		}
	}
}
