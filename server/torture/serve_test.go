package torture

import (
	"context"
	"net"
	"testing"

	"github.com/stretchr/testify/require"

	"turnwright/api/client"
	"turnwright/server"
)

// served is a server in this process.
type served struct {
	t       *testing.T
	address string
	stop    func() // ends it and waits
}

// serve serves a directory until the test ends, or stop is called.
func serve(t *testing.T, dir string, slots int) *served {
	t.Helper()
	s, err := server.New(server.Options{DataDir: dir, Workers: slots, Memory: 256 << 20})
	require.NoError(t, err)
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, lis) }()
	out := &served{t: t, address: lis.Addr().String()}
	stopped := false
	out.stop = func() {
		if stopped {
			return
		}
		stopped = true
		cancel()
		require.NoError(t, <-done)
		require.NoError(t, s.Close())
	}
	t.Cleanup(out.stop)
	return out
}

// dial makes a connection of its own, which ends before the server does.
func (s *served) dial() *client.Client {
	s.t.Helper()
	c, err := client.Dial(s.address)
	require.NoError(s.t, err)
	s.t.Cleanup(func() { _ = c.Close() })
	return c
}
