package server

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"turnwright/server/fail"
)

// What is secret must not come into the log, whatever a client puts where; what a
// fault was must, under the id that the client is told.
func TestTheLineOfACall(t *testing.T) {
	for name, c := range map[string]struct {
		work  func() error
		level string
		has   map[string]any
	}{
		"done":   {func() error { return nil }, "DEBUG", map[string]any{"code": "OK"}},
		"bad":    {func() error { return fail.Field("solution", "secret-entry can't be read") }, "DEBUG", map[string]any{"code": "InvalidArgument", "reason": "FIELD_INVALID"}},
		"fault":  {func() error { return errors.New("the disk is gone") }, "ERROR", map[string]any{"code": "Internal", "error": "the disk is gone"}},
		"panics": {func() error { panic("no more") }, "ERROR", map[string]any{"code": "Internal"}},
	} {
		var out bytes.Buffer
		e := edge{slog.New(slog.NewJSONHandler(&out, &slog.HandlerOptions{Level: slog.LevelDebug}))}
		ctx := metadata.NewIncomingContext(t.Context(), metadata.Pairs("x-request-id", "night-7", "authorization", "Bearer secret-token"))
		_, err := e.unary(ctx, "secret-entry", &grpc.UnaryServerInfo{FullMethod: "/s/M"}, func(context.Context, any) (any, error) { return nil, c.work() })
		lines := bytes.Split(bytes.TrimSpace(out.Bytes()), []byte("\n"))
		var line map[string]any
		require.NoError(t, json.Unmarshal(lines[len(lines)-1], &line), name)
		assert.Equal(t, c.level, line["level"], name)
		assert.Equal(t, "night-7", line["request"], name)
		assert.Equal(t, "/s/M", line["method"], name)
		for key, value := range c.has {
			assert.Equal(t, value, line[key], name)
		}
		assert.NotContains(t, out.String(), "secret", name)

		named := ""
		for _, d := range status.Convert(err).Details() {
			if info, ok := d.(*errdetails.RequestInfo); ok {
				named = info.GetRequestId()
			}
		}
		assert.Equal(t, c.level == "ERROR", named == "night-7", name)
	}
}
