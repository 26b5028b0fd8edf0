package fail_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/fail"
	"turnwright/storage"
)

func TestWhatAClientIsTold(t *testing.T) {
	secret := errors.New("open /var/lib/data: permission denied")
	for name, c := range map[string]struct {
		err    error
		code   codes.Code
		reason string
	}{
		"a field":           {fail.Field("search.max_length", "use 1 to %d", 40), codes.InvalidArgument, "FIELD_INVALID"},
		"not there":         {fail.NoSuch(v1.ErrorReason_ERROR_REASON_SEARCH_NOT_FOUND, "search", "searches/x"), codes.NotFound, "SEARCH_NOT_FOUND"},
		"disk low":          {fmt.Errorf("x: %w", storage.ErrDiskLow), codes.ResourceExhausted, "DISK_LOW"},
		"queue full":        {fmt.Errorf("x: %w", storage.ErrLimit), codes.ResourceExhausted, "QUEUE_FULL"},
		"reused request id": {fmt.Errorf("x: %w", storage.ErrRequestReused), codes.InvalidArgument, "REQUEST_ID_REUSED"},
		"cancelled":         {fmt.Errorf("x: %w", context.Canceled), codes.Canceled, ""},
		"too late":          {context.DeadlineExceeded, codes.DeadlineExceeded, ""},
		"anything else":     {secret, codes.Internal, "INTERNAL"},
	} {
		s := status.Convert(fail.Status(c.err))
		assert.Equal(t, c.code, s.Code(), name)
		assert.NotContains(t, s.Message(), secret.Error(), name)
		if c.reason != "" {
			info := detail[*errdetails.ErrorInfo](t, s)
			assert.Equal(t, c.reason, info.GetReason(), name)
			assert.Equal(t, "turnwright", info.GetDomain(), name)
		}
	}
	assert.NoError(t, fail.Status(nil))
}

func TestDetails(t *testing.T) {
	s := status.Convert(fail.Field("search.max_length", "use 1 to %d", 40))
	assert.True(t, proto.Equal(
		&errdetails.BadRequest_FieldViolation{Field: "search.max_length", Description: "use 1 to 40"},
		detail[*errdetails.BadRequest](t, s).GetFieldViolations()[0]))

	s = status.Convert(fail.Precondition(v1.ErrorReason_ERROR_REASON_SEARCH_NOT_ENDED, "searches/x", "it runs"))
	assert.Equal(t, codes.FailedPrecondition, s.Code())
	assert.Equal(t, map[string]string{"name": "searches/x"}, detail[*errdetails.ErrorInfo](t, s).GetMetadata())
	assert.True(t, proto.Equal(
		&errdetails.PreconditionFailure_Violation{Type: "STATE", Subject: "searches/x", Description: "it runs"},
		detail[*errdetails.PreconditionFailure](t, s).GetViolations()[0]))
}

func detail[T any](t *testing.T, s *status.Status) T {
	t.Helper()
	for _, d := range s.Details() {
		if d, ok := d.(T); ok {
			return d
		}
	}
	require.Fail(t, "detail is missing", "%T in %v", *new(T), s.Details())
	return *new(T)
}

// What an error repeats of a request is bounded, and stays text.
func TestErrorsStayShort(t *testing.T) {
	long := strings.Repeat("é", 100_000)
	for _, err := range []error{
		fail.Field("name", "%q: use searches/NAME", long),
		fail.Field("name", "x%s", long), // cut within a letter
		fail.NoSuch(v1.ErrorReason_ERROR_REASON_SEARCH_NOT_FOUND, "search", long),
		fail.Precondition(v1.ErrorReason_ERROR_REASON_SEARCH_ENDED, long, long),
		fail.With(codes.InvalidArgument, v1.ErrorReason_ERROR_REASON_FIELD_INVALID, long, "name", long),
		fail.With(codes.InvalidArgument, v1.ErrorReason_ERROR_REASON_FIELD_INVALID, "\xff", "name", "\xff"),
	} {
		said := status.Convert(err)
		assert.True(t, utf8.ValidString(said.Message()))
		assert.Less(t, proto.Size(said.Proto()), 8000)
		assert.NotEmpty(t, fail.Reason(err))
	}
}
