package server_test

import (
	"context"
	"net"
	"testing"

	"github.com/stretchr/testify/require"

	"turnwright/server"
)

// A server that is told to stop before it answers stops without an error.
func TestStopAtOnce(t *testing.T) {
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	for range 5 { // which is first is up to the scheduler
		s, err := server.New(server.Options{DataDir: t.TempDir(), Workers: 1})
		require.NoError(t, err)
		lis, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		require.NoError(t, s.Serve(ended, lis))
		require.NoError(t, s.Close())
	}
}
