package server

import (
	"bytes"
	"context"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/encoding"
	_ "google.golang.org/grpc/encoding/proto" // the codec that is wrapped
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/proto"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/fail"
)

// lenient is a codec that marks what is no message instead of failing: the library
// would take that for a fault of the server, and answer before the call begins. Who
// reads the message then refuses it, like all that is wrong with a request.
type lenient struct{ encoding.CodecV2 }

func newCodec() lenient { return lenient{encoding.GetCodecV2("proto")} }

// mark stands for the unknown fields of what is no message. It is none itself, so
// nobody can send it.
var mark = []byte{0xff}

// Unmarshal reads a message, or marks it.
func (c lenient) Unmarshal(data mem.BufferSlice, v any) error {
	err := c.CodecV2.Unmarshal(data, v)
	if m, ok := v.(proto.Message); err != nil && ok {
		proto.Reset(m)
		m.ProtoReflect().SetUnknown(mark)
		return nil
	}
	return err
}

// readable refuses a message that is marked.
func readable(v any) error {
	m, ok := v.(proto.Message)
	if !ok || !bytes.Equal(m.ProtoReflect().GetUnknown(), mark) {
		return nil
	}
	return fail.With(codes.InvalidArgument, v1.ErrorReason_ERROR_REASON_MESSAGE_REFUSED,
		"this is no message of the call: it has not protobuf's form, is nested too deep, or text in it is not UTF-8")
}

// unaryReadable refuses unreadable requests of callers that were let in.
func unaryReadable(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if err := readable(req); err != nil {
		return nil, err
	}
	return handler(ctx, req)
}
