package client

import (
	"context"
	"fmt"
	"strconv"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	turnwrightv1 "turnwright/api/turnwright/v1"
)

func TestDialOnlyTakesLoopback(t *testing.T) {
	for address, fine := range map[string]bool{
		"127.0.0.1:7431":   true,
		"127.8.0.1:1":      true,
		"[::1]:7431":       true,
		"localhost:7431":   true,
		"192.0.2.1:7431":   false,
		"example.org:7431": false,
		":7431":            false,
		"127.0.0.1":        false,
		"":                 false,
	} {
		c, err := Dial(address)
		if !fine {
			assert.Error(t, err, address)
			continue
		}
		if assert.NoError(t, err, address) {
			assert.NoError(t, c.Close())
		}
	}
}

func TestCallsAreMadeAgainWithTheSameRequestID(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var ids []string
		c := (&fake{cancel: func(r *turnwrightv1.CancelSearchRequest) (*turnwrightv1.CancelSearchResponse, error) {
			ids = append(ids, r.GetRequestId())
			if len(ids) < 3 {
				return nil, status.Error(codes.Unavailable, "not now")
			}
			return &turnwrightv1.CancelSearchResponse{}, nil
		}}).start(t)
		_, err := c.Searches.CancelSearch(t.Context(), &turnwrightv1.CancelSearchRequest{RequestId: "once"})
		require.NoError(t, err)
		assert.Equal(t, []string{"once", "once", "once"}, ids)
	})
}

func TestOtherErrorsAreNotTriedAgain(t *testing.T) {
	calls := 0
	c := (&fake{cancel: func(*turnwrightv1.CancelSearchRequest) (*turnwrightv1.CancelSearchResponse, error) {
		calls++
		return nil, status.Error(codes.ResourceExhausted, "full")
	}}).start(t)
	_, err := c.Searches.CancelSearch(t.Context(), &turnwrightv1.CancelSearchRequest{})
	assert.Equal(t, codes.ResourceExhausted, status.Code(err))
	assert.Equal(t, 1, calls)
}

func TestListsTurnTheirPages(t *testing.T) {
	f := &fake{list: func(r *turnwrightv1.ListFindingsRequest) (*turnwrightv1.ListFindingsResponse, error) {
		assert.Equal(t, "searches/x", r.GetParent())
		page, _ := strconv.Atoi(r.GetPageToken())
		if page == 3 {
			return nil, status.Error(codes.Internal, "page 3 is damaged")
		}
		return &turnwrightv1.ListFindingsResponse{
			Findings:      []*turnwrightv1.Finding{{Class: int32(2 * page)}, {Class: int32(2*page + 1)}},
			NextPageToken: []string{"1", "2", "3"}[page],
		}, nil
	}}
	c := f.start(t)

	all, err := Collect(c.AllFindings(t.Context(), "searches/x"))
	assert.ErrorContains(t, err, "page 3 is damaged")
	require.Len(t, all, 6, "what came before the error is not lost")
	for i, finding := range all {
		assert.EqualValues(t, i, finding.GetClass())
	}

	seen := 0
	for _, err := range c.AllFindings(t.Context(), "searches/x") {
		require.NoError(t, err)
		if seen++; seen == 3 {
			break // must not ask for the damaged page
		}
	}
	assert.Equal(t, 3, seen)
}

func TestListsAreNotAskedForTooOften(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		calls := 0
		f := &fake{list: func(r *turnwrightv1.ListFindingsRequest) (*turnwrightv1.ListFindingsResponse, error) {
			if calls++; calls%2 == 1 {
				st, err := status.New(codes.ResourceExhausted, "too many calls").WithDetails(
					&errdetails.ErrorInfo{Domain: Domain, Reason: "RATE_LIMITED"},
					&errdetails.RetryInfo{RetryDelay: durationpb.New(3 * time.Second)})
				require.NoError(t, err)
				return nil, st.Err()
			}
			next := ""
			if r.GetPageToken() == "" {
				next = "2"
			}
			return &turnwrightv1.ListFindingsResponse{Findings: []*turnwrightv1.Finding{{}}, NextPageToken: next}, nil
		}}
		c := f.start(t)
		began := time.Now()
		all, err := Collect(c.AllFindings(t.Context(), "searches/x"))
		require.NoError(t, err)
		assert.Len(t, all, 2)
		assert.Equal(t, 6*time.Second, time.Since(began))

		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		calls = 0
		_, err = Collect(c.AllFindings(ctx, "searches/x"))
		assert.ErrorContains(t, err, "too many calls")
	})
}

func TestExplainAndReason(t *testing.T) {
	refused := func(code codes.Code, message string, details ...protoadapt.MessageV1) error {
		st, err := status.New(code, message).WithDetails(details...)
		require.NoError(t, err)
		return st.Err()
	}
	info := &errdetails.ErrorInfo{Domain: Domain, Reason: "GOAL_REFUSED"}
	for _, c := range []struct {
		name   string
		err    error
		text   string
		reason turnwrightv1.ErrorReason
	}{
		{"no error", nil, "", 0},
		{"an error of another kind", fmt.Errorf("the disk is on fire"), "the disk is on fire", 0},
		{"a bare status", status.Error(codes.NotFound, "no puzzle of that name"), "no puzzle of that name", 0},
		{"a wrapped status", fmt.Errorf("create: %w", status.Error(codes.NotFound, "none")), "create: none", 0},
		{"nobody there", fmt.Errorf("no server: %w", status.Error(codes.Unavailable,
			`max retries exhausted: failed after 4 attempts: connection error: desc = "transport: Error while dialing: dial tcp 127.0.0.1:7: connect: connection refused"`)),
			"no server: dial tcp 127.0.0.1:7: connect: connection refused", 0},
		{"not whom it should be", status.Error(codes.Unavailable, `connection error: desc = "transport: authentication handshake failed: EOF"`),
			"authentication handshake failed: EOF", 0},
		{"with a reason", refused(codes.InvalidArgument, "no type of that name", info), "no type of that name",
			turnwrightv1.ErrorReason_ERROR_REASON_GOAL_REFUSED},
		{"with a reason of another domain", refused(codes.InvalidArgument, "no", &errdetails.ErrorInfo{Domain: "other", Reason: "GOAL_REFUSED"}), "no", 0},
		{"with a reason of a later version", refused(codes.InvalidArgument, "no", &errdetails.ErrorInfo{Domain: Domain, Reason: "NEW"}), "no", 0},
		{"with fields", refused(codes.InvalidArgument, "2 fields are wrong", info, &errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{
			{Field: "search.max_length", Description: "must be 1 to 64"},
			{Field: "request_id", Description: "is missing"},
		}}), "2 fields are wrong\n  search.max_length: must be 1 to 64\n  request_id: is missing",
			turnwrightv1.ErrorReason_ERROR_REASON_GOAL_REFUSED},
		{"with a field that the message has already", refused(codes.InvalidArgument, "max_length must be 1 to 64", &errdetails.BadRequest{
			FieldViolations: []*errdetails.BadRequest_FieldViolation{{Field: "max_length", Description: "must be 1 to 64"}}}),
			"max_length must be 1 to 64", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			assert.Equal(t, c.text, Explain(c.err))
			assert.Equal(t, c.reason, Reason(c.err))
		})
	}
}

func TestMetadata(t *testing.T) {
	st, err := status.New(codes.FailedPrecondition, "none").WithDetails(
		&errdetails.ErrorInfo{Domain: "other", Metadata: map[string]string{"cycles": "wedge"}},
		&errdetails.ErrorInfo{Domain: Domain, Reason: "NO_SEQUENCES", Metadata: map[string]string{"cycles": "corner,edge"}},
	)
	require.NoError(t, err)
	assert.Equal(t, "corner,edge", Metadata(fmt.Errorf("insert: %w", st.Err()))["cycles"])
	assert.Empty(t, Metadata(fmt.Errorf("the disk is on fire"))["cycles"])
	assert.Nil(t, Metadata(nil))
}

func TestNames(t *testing.T) {
	assert.Equal(t, "puzzles/3x3x3", PuzzleName("3x3x3"))
	assert.Equal(t, "puzzles/3x3x3", PuzzleName("puzzles/3x3x3"))
	assert.Equal(t, "searches/s1", SearchName("s1"))
	assert.Equal(t, "s1", ID("searches/s1"))
	assert.Equal(t, "f1", ID("searches/s1/findings/f1"))
	assert.NotEqual(t, NewRequestID(), NewRequestID())
	assert.Regexp(t, `^[A-Za-z0-9-]{1,64}$`, NewRequestID(), "the form that the API asks for")
}
