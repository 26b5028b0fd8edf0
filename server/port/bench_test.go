package port_test

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"turnwright/server/port"
)

const streamed = 1000 // messages of 1 KiB

// BenchmarkCalls compares gRPC on a listener of its own, on one that it shares by
// Split, and behind net/http, which is the other way to share one.
func BenchmarkCalls(b *testing.B) {
	for name, serve := range map[string]func(*grpc.Server, net.Listener) (end func()){
		"own": func(g *grpc.Server, lis net.Listener) func() {
			go func() { _ = g.Serve(lis) }()
			return g.Stop
		},
		"split": func(g *grpc.Server, lis net.Listener) func() {
			p := port.Split(lis, nil)
			ctx, cancel := context.WithCancel(context.Background())
			ended := make(chan struct{})
			go func() {
				defer close(ended)
				_ = p.Run(ctx)
			}()
			go func() { _ = g.Serve(p.GRPC) }()
			return func() {
				cancel()
				<-ended
				g.Stop()
			}
		},
		"http": func(g *grpc.Server, lis net.Listener) func() {
			web := &http.Server{Handler: g, Protocols: new(http.Protocols)}
			web.Protocols.SetUnencryptedHTTP2(true)
			go func() { _ = web.Serve(lis) }()
			return func() { _ = web.Close(); g.Stop() }
		},
	} {
		lis, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(b, err)
		message := wrapperspb.Bytes(make([]byte, 1024))
		g := grpc.NewServer(grpc.Creds(port.Credentials()), grpc.UnknownServiceHandler(func(_ any, s grpc.ServerStream) error {
			for range streamed {
				if err := s.SendMsg(message); err != nil {
					return err
				}
			}
			return nil
		}))
		healthv1.RegisterHealthServer(g, health.NewServer())
		end := serve(g, lis)
		conn, err := grpc.NewClient(lis.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
		require.NoError(b, err)
		b.Run("unary/"+name, func(b *testing.B) {
			for b.Loop() {
				_, err := healthv1.NewHealthClient(conn).Check(b.Context(), &healthv1.HealthCheckRequest{})
				require.NoError(b, err)
			}
		})
		b.Run("stream/"+name, func(b *testing.B) {
			b.SetBytes(streamed * 1024)
			for b.Loop() {
				s, err := conn.NewStream(b.Context(), &grpc.StreamDesc{ServerStreams: true}, "/none/Stream")
				require.NoError(b, err)
				require.NoError(b, s.CloseSend())
				var into wrapperspb.BytesValue
				n := 0
				for ; ; n++ {
					if err := s.RecvMsg(&into); errors.Is(err, io.EOF) {
						break
					} else if err != nil {
						b.Fatal(err)
					}
				}
				require.Equal(b, streamed, n)
			}
		})
		require.NoError(b, conn.Close())
		end()
	}
}
