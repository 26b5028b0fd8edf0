package client

import (
	"context"
	"net"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/test/bufconn"

	turnwrightv1 "turnwright/api/turnwright/v1"
)

// fake is a server whose answers each test writes itself.
type fake struct {
	turnwrightv1.UnimplementedSearchServiceServer
	turnwrightv1.UnimplementedFindingServiceServer

	cancel func(*turnwrightv1.CancelSearchRequest) (*turnwrightv1.CancelSearchResponse, error)
	list   func(*turnwrightv1.ListFindingsRequest) (*turnwrightv1.ListFindingsResponse, error)
	stream func(*turnwrightv1.StreamFindingsRequest, grpc.ServerStreamingServer[turnwrightv1.StreamFindingsResponse]) error
}

func (f *fake) CancelSearch(_ context.Context, r *turnwrightv1.CancelSearchRequest) (*turnwrightv1.CancelSearchResponse, error) {
	return f.cancel(r)
}

func (f *fake) ListFindings(_ context.Context, r *turnwrightv1.ListFindingsRequest) (*turnwrightv1.ListFindingsResponse, error) {
	return f.list(r)
}

func (f *fake) StreamFindings(r *turnwrightv1.StreamFindingsRequest, s grpc.ServerStreamingServer[turnwrightv1.StreamFindingsResponse]) error {
	return f.stream(r, s)
}

// start runs the fake in memory until the test ends, and connects to it.
func (f *fake) start(t *testing.T) *Client {
	listener := bufconn.Listen(1 << 16)
	server := grpc.NewServer(grpc.WaitForHandlers(true))
	turnwrightv1.RegisterSearchServiceServer(server, f)
	turnwrightv1.RegisterFindingServiceServer(server, f)
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	c, err := connect("passthrough:///fake", grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
		return listener.DialContext(ctx)
	}))
	require.NoError(t, err)
	t.Cleanup(func() {
		require.NoError(t, c.Close())
		server.Stop()
		require.NoError(t, <-served)
	})
	return c
}
