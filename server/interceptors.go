package server

import (
	"context"
	"fmt"
	"log/slog"
	"runtime/debug"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"

	"turnwright/server/call"
	"turnwright/server/fail"
	"turnwright/server/gateway"
)

// edge is what every call passes first and last: it gets its id and its true
// caller, errors get their status, panics become errors, and the log a line.
type edge struct{ log *slog.Logger }

func (e edge) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (resp any, err error) {
	ctx = begin(ctx)
	_ = grpc.SetHeader(ctx, metadata.Pairs(call.Key, call.ID(ctx))) // nothing was sent yet
	defer e.finish(ctx, info.FullMethod, time.Now(), &err)
	return handler(ctx, req)
}

func (e edge) stream(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) (err error) {
	ctx := begin(stream.Context())
	_ = stream.SetHeader(metadata.Pairs(call.Key, call.ID(ctx)))
	defer e.finish(ctx, info.FullMethod, time.Now(), &err)
	return handler(srv, within{stream, ctx})
}

func begin(ctx context.Context) context.Context { return gateway.Caller(call.Begin(ctx)) }

// within is a stream with another context, whose messages must be readable.
type within struct {
	grpc.ServerStream
	ctx context.Context
}

func (w within) Context() context.Context { return w.ctx }

func (w within) RecvMsg(m any) error {
	if err := w.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	return readable(m)
}

// finish writes the line of the call: at debug level, or as an error where the
// server is at fault. Only then it has the error's own words, which otherwise could
// repeat what a member asked, and which the client has anyway.
func (e edge) finish(ctx context.Context, method string, start time.Time, err *error) {
	if r := recover(); r != nil {
		e.log.Error("a call panicked", "request", call.ID(ctx), "method", call.Public(method), "panic", fmt.Sprint(r), "stack", string(debug.Stack()))
		*err = fail.Internal()
	}
	cause := *err
	*err = fail.Named(fail.Status(cause), call.ID(ctx))
	code := status.Code(*err)
	attrs := []any{"request", call.ID(ctx), "method", call.Public(method), "code", code.String(), "took", time.Since(start)}
	if p, ok := peer.FromContext(ctx); ok {
		attrs = append(attrs, "peer", p.Addr.String())
	}
	level := slog.LevelDebug
	switch {
	case fail.Ours(code):
		level = slog.LevelError
		attrs = append(attrs, "error", cause)
	case cause != nil:
		attrs = append(attrs, "reason", fail.Reason(*err))
	}
	e.log.Log(ctx, level, "call", attrs...)
}
