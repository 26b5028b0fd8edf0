package hostile

import (
	"context"
	"errors"
	"fmt"
	"io"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	v1 "turnwright/api/turnwright/v1"
)

// raw sends bytes as they are, and reads answers without looking at them.
type raw struct{}

func (raw) Name() string { return "proto" }

func (raw) Marshal(m any) ([]byte, error) { return *m.(*[]byte), nil }

func (raw) Unmarshal(wire []byte, m any) error {
	*m.(*[]byte) = append([]byte(nil), wire...)
	return nil
}

// send makes a call with bytes for its one request.
func (x *target) send(t testing.TB, m protoreflect.MethodDescriptor, wire []byte) ([]byte, error) {
	ctx, cancel := context.WithTimeout(t.Context(), waits(m))
	defer cancel()
	var out []byte
	desc := &grpc.StreamDesc{ClientStreams: m.IsStreamingClient(), ServerStreams: m.IsStreamingServer()}
	stream, err := x.conn.NewStream(ctx, desc, path(m), grpc.ForceCodec(raw{}))
	if err != nil {
		return nil, err
	}
	_ = stream.SendMsg(&wire) // what is wrong is said with the answer
	_ = stream.CloseSend()
	if err := stream.RecvMsg(&out); err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	return out, nil
}

// What is no message at all.
func TestWhatIsNoMessageIsRefused(t *testing.T) {
	x := serve(t, -1)
	for _, m := range methods() {
		text := m.Input().Fields()
		for what, wire := range map[string][]byte{
			"the end is missing": {0x0a, 0x7f, 'x'},
			"no field's number":  {0x00, 0x00},
			"nested too deep":    groups(12_000),
			"never closed":       groups(100)[:200],
		} {
			_, err := x.send(t, m, wire)
			assert.Equal(t, codes.InvalidArgument, status.Code(err), "%s: %s", m.FullName(), what)
			assert.Empty(t, wrong(m, err), "%s: %s", m.FullName(), what)
		}
		for i := range text.Len() {
			if text.Get(i).Kind() != protoreflect.StringKind {
				continue
			}
			wire := []byte{byte(text.Get(i).Number())<<3 | 2, 2, 0xc3, 0x28} // not UTF-8
			_, err := x.send(t, m, wire)
			assert.Equal(t, codes.InvalidArgument, status.Code(err), "%s of %s", text.Get(i).Name(), m.FullName())
			assert.Empty(t, wrong(m, err), m.FullName())
		}
	}
	none, err := v1.NewWorkerServiceClient(x.conn).ReportUnit(t.Context())
	require.NoError(t, err)
	_, err = none.CloseAndRecv()
	assert.Equal(t, codes.InvalidArgument, status.Code(err), "a stream without a message")
	x.settled(t)
}

// Bytes from outside, to any call.
func FuzzEveryCall(f *testing.F) {
	all := methods()
	n := 0
	for i, m := range all {
		for _, request := range valid("request")[fmt.Sprintf("%s/%s", m.Parent().Name(), m.Name())] {
			wire, err := proto.Marshal(request)
			require.NoError(f, err)
			f.Add(uint8(i), wire)
		}
	}
	x := serve(f, -1)
	f.Fuzz(func(t *testing.T, call uint8, wire []byte) {
		m := all[int(call)%len(all)]
		n++
		answer, err := x.send(t, m, wire)
		if bad := wrong(m, err); bad != "" {
			t.Errorf("%s: %s", m.FullName(), bad)
		}
		if err == nil && m.Name() == "CreateSearch" {
			created := &v1.CreateSearchResponse{}
			require.NoError(t, proto.Unmarshal(answer, created))
			x.tidy(t, created)
		}
		if n%100 == 0 {
			x.alive(t)
		}
	})
}
