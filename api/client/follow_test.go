package client

import (
	"context"
	"errors"
	"strconv"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"pgregory.net/rapid"

	turnwrightv1 "turnwright/api/turnwright/v1"
)

type eventStream = grpc.ServerStreamingServer[turnwrightv1.StreamFindingsResponse]

// numbered is the event with that number, whose cursor is the number too.
func numbered(n int) *turnwrightv1.StreamFindingsResponse {
	return &turnwrightv1.StreamFindingsResponse{
		Cursor: strconv.Itoa(n),
		Event:  &turnwrightv1.StreamFindingsResponse_Finding{Finding: &turnwrightv1.Finding{Class: int32(n)}},
	}
}

func after(t require.TestingT, cursor string) int {
	if cursor == "" {
		return 1
	}
	n, err := strconv.Atoi(cursor)
	require.NoError(t, err)
	return n + 1
}

// The times in these tests are those of the bubble: nothing waits.

func TestFollowGivesEachFindingOnceHoweverOftenTheStreamBreaks(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		total := rapid.IntRange(0, 40).Draw(rt, "events")
		// Each stream but the last ends with an error after so many events.
		breaks := rapid.SliceOfN(rapid.IntRange(0, 8), 0, maxBroken).Draw(rt, "breaks")
		code := rapid.SampledFrom([]codes.Code{codes.Unavailable, codes.Aborted}).Draw(rt, "code")

		var got []int
		var err error
		synctest.Test(t, func(t *testing.T) {
			c := (&fake{stream: func(r *turnwrightv1.StreamFindingsRequest, s eventStream) error {
				left := total
				if len(breaks) > 0 {
					left, breaks = breaks[0], breaks[1:]
				}
				for n := after(t, r.GetCursor()); n <= total; n++ {
					if left == 0 {
						return status.Error(code, "broken")
					}
					left--
					if err := s.Send(numbered(n)); err != nil {
						return err
					}
				}
				return nil
			}}).start(t)
			err = c.Follow(t.Context(), "searches/x", "", func(e *turnwrightv1.StreamFindingsResponse) error {
				got = append(got, int(e.GetFinding().GetClass()))
				return nil
			})
		})
		require.NoError(rt, err)
		require.Len(rt, got, total)
		for i, class := range got {
			require.Equal(rt, i+1, class)
		}
	})
}

func TestFollowBeginsAfterTheCursor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := (&fake{stream: func(r *turnwrightv1.StreamFindingsRequest, s eventStream) error {
			return s.Send(numbered(after(t, r.GetCursor())))
		}}).start(t)
		var got []string
		require.NoError(t, c.Follow(t.Context(), "searches/x", "7", func(e *turnwrightv1.StreamFindingsResponse) error {
			got = append(got, e.GetCursor())
			return nil
		}))
		assert.Equal(t, []string{"8"}, got)
	})
}

func TestFollowGivesUpOnAServerThatStaysAway(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := (&fake{stream: func(*turnwrightv1.StreamFindingsRequest, eventStream) error {
			return status.Error(codes.Unavailable, "gone")
		}}).start(t)
		began := time.Now()
		err := c.Follow(t.Context(), "searches/x", "", func(*turnwrightv1.StreamFindingsResponse) error { return nil })
		assert.Equal(t, codes.Unavailable, status.Code(err))
		assert.ErrorContains(t, err, "stays away")
		assert.Greater(t, time.Since(began), time.Minute, "long enough for a server to restart")
	})
}

// A server that breaks off again and again is not away, even while nothing is found.
func TestFollowGoesOnWhileItHearsFromTheServer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		streams := 0
		c := (&fake{stream: func(_ *turnwrightv1.StreamFindingsRequest, s eventStream) error {
			if streams++; streams > 2*maxBroken {
				return nil
			}
			if err := s.Send(numbered(1)); err != nil { // the cursor stays the same
				return err
			}
			return status.Error(codes.Unavailable, "broken")
		}}).start(t)
		began := time.Now()
		require.NoError(t, c.Follow(t.Context(), "searches/x", "", func(*turnwrightv1.StreamFindingsResponse) error { return nil }))
		assert.Less(t, time.Since(began), 2*maxBroken*time.Second, "nor is it waited for longer each time")
	})
}

func TestFollowStopsAtOnce(t *testing.T) {
	mine := errors.New("mine")
	for _, c := range []struct {
		name   string
		server error
		handle error
		check  func(*testing.T, error)
	}{
		{"on an error that is not the connection's", status.Error(codes.NotFound, "no such search"), nil,
			func(t *testing.T, err error) { assert.Equal(t, codes.NotFound, status.Code(err)) }},
		{"on the caller's own error", nil, mine,
			func(t *testing.T, err error) { assert.Equal(t, mine, err) }},
		{"on the caller's own error, even if it looks like a broken connection", nil, status.Error(codes.Unavailable, "another"),
			func(t *testing.T, err error) { assert.ErrorContains(t, err, "another") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				calls := 0
				client := (&fake{stream: func(_ *turnwrightv1.StreamFindingsRequest, s eventStream) error {
					calls++
					if c.server != nil {
						return c.server
					}
					if err := s.Send(numbered(1)); err != nil {
						return err
					}
					<-s.Context().Done() // a client that fails lets the stream go
					return nil
				}}).start(t)
				c.check(t, client.Follow(t.Context(), "searches/x", "", func(*turnwrightv1.StreamFindingsResponse) error { return c.handle }))
				assert.Equal(t, 1, calls)
			})
		})
	}
}

func TestFollowEndsWithItsContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := (&fake{stream: func(_ *turnwrightv1.StreamFindingsRequest, s eventStream) error {
			if err := s.Send(numbered(1)); err != nil {
				return err
			}
			<-s.Context().Done()
			return s.Context().Err()
		}}).start(t)
		ctx, cancel := context.WithCancel(t.Context())
		err := c.Follow(ctx, "searches/x", "", func(*turnwrightv1.StreamFindingsResponse) error {
			cancel()
			return nil
		})
		assert.ErrorIs(t, err, context.Canceled)
	})
}
