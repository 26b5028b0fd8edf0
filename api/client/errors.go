package client

import (
	"context"
	"errors"
	"regexp"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/status"

	turnwrightv1 "turnwright/api/turnwright/v1"
)

// Reason is why the server refused a call, as far as it said so:
// ERROR_REASON_UNSPECIFIED for errors that don't come from a turnwright server.
func Reason(err error) turnwrightv1.ErrorReason {
	for _, detail := range details(err) {
		if info, ok := detail.(*errdetails.ErrorInfo); ok && info.GetDomain() == Domain {
			return turnwrightv1.ErrorReason(turnwrightv1.ErrorReason_value["ERROR_REASON_"+info.GetReason()])
		}
	}
	return turnwrightv1.ErrorReason_ERROR_REASON_UNSPECIFIED
}

// Metadata is what the server said beside the reason; nil where there is none.
func Metadata(err error) map[string]string {
	for _, detail := range details(err) {
		if info, ok := detail.(*errdetails.ErrorInfo); ok && info.GetDomain() == Domain {
			return info.GetMetadata()
		}
	}
	return nil
}

// comeAgain is how long to wait before a call that came too often is made again; 0 for
// any other error, and none.
func comeAgain(err error) time.Duration {
	if Reason(err) != turnwrightv1.ErrorReason_ERROR_REASON_RATE_LIMITED {
		return 0
	}
	for _, detail := range details(err) {
		if retry, ok := detail.(*errdetails.RetryInfo); ok {
			return retry.GetRetryDelay().AsDuration()
		}
	}
	return 0
}

// sleep waits, or gives the error of a context that ends before.
func sleep(ctx context.Context, d time.Duration) error {
	wait := time.NewTimer(d)
	defer wait.Stop()
	select {
	case <-wait.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Domain is the domain of the reasons that a turnwright server gives.
const Domain = "turnwright"

// connecting is what gRPC and its retries say around the reason why a server can't be
// reached.
var connecting = regexp.MustCompile(`(?:max retries exhausted: failed after \d+ attempts: )?connection error: desc = "transport: (?:Error while dialing: )?(.*)"`)

// Explain puts an error of a call into words for people: the server's message
// without gRPC's own, then one line for each field that was wrong, unless the
// message has it already. Errors of other kinds read as they are.
func Explain(err error) string {
	if err == nil {
		return ""
	}
	st, ok := status.FromError(err)
	if !ok {
		return err.Error()
	}
	// What wraps the status stays, only gRPC's own words are dropped.
	text := err.Error()
	var bare interface{ GRPCStatus() *status.Status }
	if errors.As(err, &bare) {
		inner := bare.GRPCStatus()
		text = strings.Replace(text, inner.Err().Error(), inner.Message(), 1)
	}
	text = connecting.ReplaceAllString(text, "$1")
	lines := []string{text}
	for _, detail := range st.Details() {
		bad, ok := detail.(*errdetails.BadRequest)
		if !ok {
			continue
		}
		for _, field := range bad.GetFieldViolations() {
			if !strings.Contains(text, field.GetDescription()) {
				lines = append(lines, "  "+field.GetField()+": "+field.GetDescription())
			}
		}
	}
	return strings.Join(lines, "\n")
}

func details(err error) []any {
	st, ok := status.FromError(err)
	if !ok {
		return nil
	}
	return st.Details()
}
