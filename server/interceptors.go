package server

import (
	"context"
	"fmt"
	"log/slog"
	"runtime/debug"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"turnwright/server/fail"
)

// edge is where errors get their status, panics become errors, and calls are logged.
type edge struct{ log *slog.Logger }

func (e edge) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (resp any, err error) {
	defer e.finish(ctx, info.FullMethod, time.Now(), &err)
	return handler(ctx, req)
}

func (e edge) stream(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) (err error) {
	defer e.finish(stream.Context(), info.FullMethod, time.Now(), &err)
	return handler(srv, stream)
}

func (e edge) finish(ctx context.Context, method string, start time.Time, err *error) {
	if r := recover(); r != nil {
		e.log.Error("a call panicked", "method", method, "panic", fmt.Sprint(r), "stack", string(debug.Stack()))
		*err = fail.Internal()
	}
	cause := *err
	*err = fail.Status(cause)
	code := status.Code(*err)
	level := slog.LevelDebug
	if code == codes.Internal || code == codes.DataLoss {
		level = slog.LevelError
	}
	attrs := []any{"method", method, "code", code.String(), "took", time.Since(start)}
	if cause != nil {
		attrs = append(attrs, "error", cause)
	}
	e.log.Log(ctx, level, "call", attrs...)
}
