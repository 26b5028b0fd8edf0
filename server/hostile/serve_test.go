package hostile

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/grpclog"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	"turnwright/api/client"
	v1 "turnwright/api/turnwright/v1"
	"turnwright/server"
	"turnwright/server/access"
)

func TestMain(m *testing.M) {
	grpclog.SetLoggerV2(grpclog.NewLoggerV2(io.Discard, io.Discard, io.Discard)) // or there is a line for each request
	goleak.VerifyTestMain(m,
		// Badger's caches leave one behind that no call ends.
		goleak.IgnoreAnyFunction("github.com/dgraph-io/ristretto/v2.(*lfuPolicy[...]).processItems"),
		goleak.IgnoreTopFunction("github.com/golang/glog.(*fileSink).flushDaemon"),
	)
}

// patience is how long one call may take. It is no measure: with it a call that would
// run away fails the test.
const patience = 30 * time.Second

var insecureOption = grpc.WithTransportCredentials(insecure.NewCredentials())

// target is a server on loopback.
type target struct {
	*client.Client
	address string
	conn    *grpc.ClientConn
	rounds  v1.RoundServiceClient
	quiet   int // goroutines when nothing was asked yet
}

// serve runs a server until the test ends, with so many workers of its own.
func serve(t testing.TB, workers int) *target {
	t.Helper()
	s, err := server.New(server.Options{
		DataDir: t.TempDir(), Workers: workers, Memory: 16 << 20, Version: "v1", Access: access.Options{Rate: 1e9, MaxSearches: 1e6},
	})
	require.NoError(t, err)
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, lis) }()
	address := lis.Addr().String()
	conn, err := grpc.NewClient(address, insecureOption)
	require.NoError(t, err)
	c, err := client.Open(client.Server{Address: address})
	require.NoError(t, err)
	x := &target{Client: c, address: address, conn: conn, rounds: v1.NewRoundServiceClient(conn)}
	t.Cleanup(func() {
		require.NoError(t, c.Close())
		require.NoError(t, conn.Close())
		stop()
		require.NoError(t, <-done)
		require.NoError(t, s.Close())
	})
	x.alive(t) // with all connections that last
	x.quiet = runtime.NumGoroutine()
	return x
}

// alive asks the server for its health.
func (x *target) alive(t testing.TB) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	said, err := healthv1.NewHealthClient(x.conn).Check(ctx, &healthv1.HealthCheckRequest{})
	require.NoError(t, err)
	require.Equal(t, healthv1.HealthCheckResponse_SERVING, said.GetStatus())
	_, err = x.Status.GetStatus(ctx, &v1.GetStatusRequest{})
	require.NoError(t, err)
	req, err := http.NewRequestWithContext(ctx, "GET", "http://"+x.address+"/v1/status", nil)
	require.NoError(t, err)
	req.Close = true
	resp, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	require.NoError(t, resp.Body.Close())
	require.Equal(t, http.StatusOK, resp.StatusCode)
}

// settled waits until no more goroutines are there than when nothing was asked yet,
// some that come and go aside, and holds the memory in use against a bound.
func (x *target) settled(t testing.TB) {
	t.Helper()
	const slack = 10
	require.Eventually(t, func() bool { return runtime.NumGoroutine() <= x.quiet+slack }, patience, 20*time.Millisecond,
		"goroutines were left behind: %d, before %d", runtime.NumGoroutine(), x.quiet)
	runtime.GC()
	var now runtime.MemStats
	runtime.ReadMemStats(&now)
	require.Less(t, now.HeapAlloc, uint64(512<<20), "bytes of heap")
}

// methods are all calls of the API, in their order.
func methods() []protoreflect.MethodDescriptor {
	var all []protoreflect.MethodDescriptor
	protoregistry.GlobalFiles.RangeFilesByPackage("turnwright.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			for calls, j := file.Services().Get(i).Methods(), 0; j < calls.Len(); j++ {
				all = append(all, calls.Get(j))
			}
		}
		return true
	})
	return all
}

// path is what a call is called on the wire.
func path(m protoreflect.MethodDescriptor) string {
	return fmt.Sprintf("/%s/%s", m.Parent().FullName(), m.Name())
}

// call makes a call and reads no more than a few answers. Its error is nil where the
// server gave an answer.
func (x *target) call(t testing.TB, m protoreflect.MethodDescriptor, requests ...proto.Message) (proto.Message, error) {
	ctx, cancel := context.WithTimeout(t.Context(), waits(m))
	defer cancel()
	out := dynamicpb.NewMessage(m.Output())
	if !m.IsStreamingClient() && !m.IsStreamingServer() {
		err := x.conn.Invoke(ctx, path(m), requests[0], out)
		return out, err
	}
	stream, err := x.conn.NewStream(ctx, &grpc.StreamDesc{ClientStreams: m.IsStreamingClient(), ServerStreams: m.IsStreamingServer()}, path(m))
	if err != nil {
		return nil, err
	}
	for _, r := range requests {
		if stream.SendMsg(r) != nil {
			break // why is said with the answer
		}
	}
	_ = stream.CloseSend()
	for range 3 {
		if err := stream.RecvMsg(out); err != nil {
			if errors.Is(err, io.EOF) {
				err = nil
			}
			return out, err
		}
		if !m.IsStreamingServer() || m.Name() == "StreamFindings" { // which goes on until the search ends
			break
		}
	}
	return out, nil
}

// waits is how long a call may take.
func waits(m protoreflect.MethodDescriptor) time.Duration {
	switch m.Name() {
	case "LeaseUnit": // it waits for work as long as it is told to
		return 100 * time.Millisecond
	case "ListCommutators", "InsertSequences", "StudySolution", "CompareSolutions", "ShowBaseline": // they may work for a minute or two
		return 2 * time.Second
	}
	return patience
}

// wrong says what is wrong with an error of a call; nothing where it is as all errors
// have to be.
func wrong(m protoreflect.MethodDescriptor, err error) string {
	st := status.Convert(err)
	switch st.Code() {
	case codes.OK:
		return ""
	case codes.Internal, codes.Unknown, codes.DataLoss, codes.Unimplemented, codes.Canceled:
		return fmt.Sprintf("this code is never right: %v", err)
	case codes.ResourceExhausted:
		if strings.HasPrefix(st.Message(), "grpc: received message larger than max") {
			return "" // the transport says so before anyone knows which call it is
		}
	case codes.DeadlineExceeded:
		if waits(m) < patience {
			return ""
		}
		return fmt.Sprintf("it did not end: %v", err)
	}
	for _, detail := range st.Details() {
		info, ok := detail.(*errdetails.ErrorInfo)
		if !ok {
			continue
		}
		if _, known := v1.ErrorReason_value["ERROR_REASON_"+info.GetReason()]; !known || info.GetDomain() != "turnwright" {
			return fmt.Sprintf("%q of %q is none of the API's reasons", info.GetReason(), info.GetDomain())
		}
		if len(st.Message()) > 4000 {
			return fmt.Sprintf("its message has %d bytes", len(st.Message()))
		}
		return ""
	}
	return fmt.Sprintf("it has no reason: %.300v", err)
}
