package searches_test

import (
	"context"
	"io"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/storage"
)

type stream = grpc.ServerStreamingClient[v1.StreamFindingsResponse]

func (s *served) watch(t *testing.T, cursor string) stream {
	t.Helper()
	out, err := s.findings.StreamFindings(t.Context(), &v1.StreamFindingsRequest{Parent: "searches/night", Cursor: cursor})
	require.NoError(t, err)
	return out
}

// next gives the next event that is not the search.
func next(t *testing.T, s stream) *v1.StreamFindingsResponse {
	t.Helper()
	for {
		event, err := s.Recv()
		require.NoError(t, err)
		if event.GetSearch() == nil {
			return event
		}
	}
}

// failure reads until the stream fails.
func failure(s stream) error {
	for {
		if _, err := s.Recv(); err != nil {
			return err
		}
	}
}

func TestASilentStreamHasAHeartbeat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := serve(t, night(t, 0))
		begin := time.Now()
		events := s.watch(t, "")
		for i := 1; i <= 3; i++ {
			require.NotNil(t, next(t, events).GetHeartbeat())
			assert.Equal(t, time.Duration(i)*15*time.Second, time.Since(begin))
		}
	})
}

func TestAFindingPutsTheHeartbeatOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := night(t, 0)
		s := serve(t, f)
		events := s.watch(t, "")
		time.Sleep(14500 * time.Millisecond) // between two looks at the progress
		begin := time.Now()
		f.then(f.find)
		require.NotNil(t, next(t, events).GetFinding())
		assert.Equal(t, begin, time.Now(), "a finding comes at once")
		require.NotNil(t, next(t, events).GetHeartbeat())
		assert.Equal(t, 15*time.Second, time.Since(begin))
	})
}

func TestAStreamEndsWithItsSearch(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := night(t, 2)
		s := serve(t, f)
		events := s.watch(t, "")
		for range 2 {
			require.NotNil(t, next(t, events).GetFinding())
		}
		f.then(func() {
			f.find()
			f.search.State = storage.Done
		})
		require.Equal(t, "searches/night/findings/c0003", next(t, events).GetFinding().GetName())
		last, err := events.Recv()
		require.NoError(t, err)
		assert.Equal(t, v1.SearchState_SEARCH_STATE_DONE, last.GetSearch().GetState())
		_, err = events.Recv()
		require.Equal(t, io.EOF, err)

		events = s.watch(t, last.GetCursor())
		again, err := events.Recv()
		require.NoError(t, err)
		assert.Equal(t, v1.SearchState_SEARCH_STATE_DONE, again.GetSearch().GetState(), "nothing but its end is left")
		_, err = events.Recv()
		require.Equal(t, io.EOF, err)
	})
}

// A client that keeps its connection and reads nothing is let go after a while,
// and comes back with the cursor of what it has read.
func TestASlowReaderIsLetGo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const found = 2000 // far more than the windows of the transport hold
		s := serve(t, night(t, found))
		events := s.watch(t, "")
		first := next(t, events)
		begin := time.Now()
		assert.Equal(t, codes.Aborted, status.Code(<-s.ended))
		assert.Equal(t, 30*time.Second, time.Since(begin))

		names := map[string]bool{first.GetFinding().GetName(): true}
		again := s.watch(t, first.GetCursor())
		for len(names) < found {
			name := next(t, again).GetFinding().GetName()
			require.False(t, names[name], name)
			names[name] = true
		}
		assert.Equal(t, codes.Aborted, status.Code(failure(events)), "what was on its way arrives, then the reason")
	})
}

func TestAStoppingServerInterruptsAReplay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := serve(t, night(t, 2000))
		events := s.watch(t, "")
		require.NotNil(t, next(t, events).GetFinding())
		synctest.Wait() // it is stuck in the middle
		begin := time.Now()
		close(s.stopping)
		assert.Equal(t, codes.Unavailable, status.Code(<-s.ended))
		assert.Equal(t, begin, time.Now())
		assert.Equal(t, codes.Unavailable, status.Code(failure(events)))
	})
}

func TestAStreamOfADeletedSearchEnds(t *testing.T) {
	for what, deletion := range map[string]func(f *fake){
		"it is gone":                 func(f *fake) { f.err = storage.ErrNotFound },
		"another one has its id now": func(f *fake) { f.search.Number++ },
	} {
		t.Run(what, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f := night(t, 0)
				s := serve(t, f)
				events := s.watch(t, "")
				_, err := events.Recv()
				require.NoError(t, err)
				f.then(func() { deletion(f) })
				assert.Equal(t, codes.NotFound, status.Code(failure(events)))
			})
		})
	}
}

// Idle or in the middle of a replay: a client that goes away frees its stream at once.
func TestAClientThatGoesAwayFreesItsStream(t *testing.T) {
	for _, found := range []int{0, 2000} {
		synctest.Test(t, func(t *testing.T) {
			s := serve(t, night(t, found))
			ctx, leave := context.WithCancel(t.Context())
			events, err := s.findings.StreamFindings(ctx, &v1.StreamFindingsRequest{Parent: "searches/night"})
			require.NoError(t, err)
			_, err = events.Recv()
			require.NoError(t, err)
			synctest.Wait()
			begin := time.Now()
			leave()
			assert.ErrorIs(t, <-s.ended, context.Canceled)
			assert.Equal(t, begin, time.Now())
		})
	}
}
