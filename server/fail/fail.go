// Package fail makes the errors that clients see. Code below the services
// returns plain errors; a status code is chosen once, here or where a service
// knows which field was wrong.
//
//	return nil, fail.Field("page_size", "must not be negative")
package fail

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/storage"
)

// Domain is the domain of all reasons.
const Domain = "turnwright"

// With makes a status error with a reason and, in pairs, its metadata.
func With(code codes.Code, reason v1.ErrorReason, message string, metadata ...string) error {
	return build(code, reason, message, nil, metadata)
}

// Field says that a field of the request is wrong and what it should be.
func Field(field, format string, args ...any) error {
	return Refused(v1.ErrorReason_ERROR_REASON_FIELD_INVALID, field, fmt.Errorf(format, args...))
}

// Refused says that what a field asks for can never be done.
func Refused(reason v1.ErrorReason, field string, err error, metadata ...string) error {
	message := err.Error()
	if reason == v1.ErrorReason_ERROR_REASON_FIELD_INVALID {
		message = field + ": " + message
	}
	bad := &errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{{Field: field, Description: clip(err.Error())}}}
	return build(codes.InvalidArgument, reason, message, bad, metadata)
}

// NoSuch says that a resource does not exist.
func NoSuch(reason v1.ErrorReason, what, name string) error {
	return With(codes.NotFound, reason, fmt.Sprintf("there is no %s %q", what, name), "name", name)
}

// Precondition says that the state of a resource forbids the call. The name is in the
// metadata anyway.
func Precondition(reason v1.ErrorReason, name, message string, metadata ...string) error {
	violation := &errdetails.PreconditionFailure_Violation{Type: "STATE", Subject: clip(name), Description: clip(message)}
	return build(codes.FailedPrecondition, reason, message,
		&errdetails.PreconditionFailure{Violations: []*errdetails.PreconditionFailure_Violation{violation}},
		append([]string{"name", name}, metadata...))
}

// TooOften says that the caller should come again later.
func TooOften(delay time.Duration) error {
	return build(codes.ResourceExhausted, v1.ErrorReason_ERROR_REASON_RATE_LIMITED,
		fmt.Sprintf("too many calls: come again in %v", delay.Round(time.Millisecond)),
		&errdetails.RetryInfo{RetryDelay: durationpb.New(delay)}, nil)
}

// maxText bounds, in bytes, what an error repeats of a request: errors travel in
// headers, and proxies take little of those.
const maxText = 1000

// clip cuts what is too long, and leaves out what is no text.
func clip(s string) string {
	if len(s) > maxText {
		s = s[:maxText] + "…"
	}
	return strings.ToValidUTF8(s, "")
}

func build(code codes.Code, reason v1.ErrorReason, message string, detail protoadapt.MessageV1, metadata []string) error {
	message = clip(message)
	info := &errdetails.ErrorInfo{
		Reason: strings.TrimPrefix(reason.String(), "ERROR_REASON_"),
		Domain: Domain,
	}
	for i := 0; i+1 < len(metadata); i += 2 {
		if info.Metadata == nil {
			info.Metadata = map[string]string{}
		}
		info.Metadata[metadata[i]] = clip(metadata[i+1])
	}
	details := []protoadapt.MessageV1{info}
	if detail != nil {
		details = append(details, detail)
	}
	st, err := status.New(code, message).WithDetails(details...)
	if err != nil { // both are well-formed messages
		panic(err)
	}
	return st.Err()
}

// known pairs the errors of storage with what a client is told.
var known = []struct {
	err    error
	code   codes.Code
	reason v1.ErrorReason
}{
	{storage.ErrRequestReused, codes.InvalidArgument, v1.ErrorReason_ERROR_REASON_REQUEST_ID_REUSED},
	{storage.ErrDiskLow, codes.ResourceExhausted, v1.ErrorReason_ERROR_REASON_DISK_LOW},
	{storage.ErrLimit, codes.ResourceExhausted, v1.ErrorReason_ERROR_REASON_QUEUE_FULL},
	{storage.ErrNotOwner, codes.PermissionDenied, v1.ErrorReason_ERROR_REASON_NOT_OWNER},
	{storage.ErrTooBig, codes.InvalidArgument, v1.ErrorReason_ERROR_REASON_FIELD_INVALID},
}

// Status turns any error into one with a status: those that have one stay, a
// context's become CANCELLED or DEADLINE_EXCEEDED, storage's get theirs, and all
// others are the server's fault: what they say is for its log alone.
func Status(err error) error {
	if err == nil {
		return nil
	}
	if _, ok := status.FromError(err); ok {
		return err
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return status.FromContextError(err).Err()
	}
	for _, k := range known {
		if errors.Is(err, k.err) {
			return With(k.code, k.reason, err.Error())
		}
	}
	return Internal()
}

// Internal is all that a client is told of a fault of the server.
func Internal() error {
	return With(codes.Internal, v1.ErrorReason_ERROR_REASON_INTERNAL, "a fault of the server: its log has more")
}

// Ours tells whether a code stands for a fault of the server.
func Ours(code codes.Code) bool {
	return code == codes.Internal || code == codes.DataLoss || code == codes.Unknown
}

// Named adds the id of the call to an error that is the server's fault, so that who
// looks after the server finds it in the log. Others stay as they are.
func Named(err error, id string) error {
	st := status.Convert(err)
	if !Ours(st.Code()) {
		return err
	}
	named, e := st.WithDetails(&errdetails.RequestInfo{RequestId: id})
	if e != nil {
		return err
	}
	return named.Err()
}

// Reason is the reason that an error gives, without its prefix; empty where it gives
// none.
func Reason(err error) string {
	for _, detail := range status.Convert(err).Details() {
		if info, ok := detail.(*errdetails.ErrorInfo); ok {
			return info.GetReason()
		}
	}
	return ""
}
