package server

import (
	"context"
	"crypto/tls"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"time"

	"golang.org/x/net/netutil"
	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"

	"turnwright/server/gateway"
	"turnwright/server/metrics"
	"turnwright/server/port"
	"turnwright/server/web"
)

// Bounds of connections that speak HTTP/1.1. The gateway bounds what comes after the
// header, and how long a client may take for an answer.
const (
	maxHeader      = 16 << 10 // bytes
	headerPatience = 10 * time.Second
	idlePatience   = 2 * time.Minute
	maxHTTP        = 1000 // connections
)

// front is the server as it is seen from outside: gRPC, and the same as JSON over
// HTTP, on one listener.
type front struct {
	port    *port.Port
	pipe    *gateway.Pipe
	gateway *gateway.Gateway
	grpc    *grpc.Server
	http    *http.Server
	closing context.Context
	close   context.CancelFunc
}

func newFront(lis net.Listener, config *tls.Config, g *grpc.Server, healthy *health.Server, figures *metrics.Metrics, log *slog.Logger) (*front, error) {
	pipe := gateway.NewPipe()
	gate, err := gateway.New(pipe, gateway.Pages{
		Metrics: figures.Handler(),
		Ready:   func(ctx context.Context) error { return ready(ctx, healthy) },
		People:  web.Handler(),
	})
	if err != nil {
		return nil, err
	}
	f := &front{port: port.Split(lis, config), pipe: pipe, gateway: gate, grpc: g}
	f.closing, f.close = context.WithCancel(context.Background())
	f.http = &http.Server{
		Handler:           gate,
		ReadHeaderTimeout: headerPatience,
		IdleTimeout:       idlePatience,
		MaxHeaderBytes:    maxHeader,
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelDebug),
	}
	return f, nil
}

func ready(ctx context.Context, healthy *health.Server) error {
	said, err := healthy.Check(ctx, &healthv1.HealthCheckRequest{})
	if err == nil && said.GetStatus() != healthv1.HealthCheckResponse_SERVING {
		err = errors.New("no new work is taken")
	}
	return err
}

// serve answers until stop is called, or something fails that can't be mended.
func (f *front) serve() error {
	var g errgroup.Group
	serve := func(work func() error) {
		g.Go(func() error {
			defer f.close() // one without the others is no server
			err := work()
			if errors.Is(err, grpc.ErrServerStopped) || errors.Is(err, http.ErrServerClosed) || f.closing.Err() != nil {
				return nil
			}
			return err
		})
	}
	context.AfterFunc(f.closing, func() { _ = f.pipe.Close() })
	serve(func() error { return f.port.Run(f.closing) })
	serve(func() error { return f.grpc.Serve(f.port.GRPC) })
	serve(func() error { return f.grpc.Serve(f.pipe) })
	serve(func() error { return f.http.Serve(netutil.LimitListener(f.port.HTTP, maxHTTP)) })
	return g.Wait()
}

// stop takes nothing new, and waits for what is under way, but not for long.
func (f *front) stop() {
	f.close()
	hurry, cancel := context.WithTimeout(context.Background(), stopPatience)
	defer cancel()
	end := context.AfterFunc(hurry, f.grpc.Stop)
	defer end()
	f.grpc.GracefulStop()
	// All calls have ended by now, what is left is to write their answers.
	if err := f.http.Shutdown(hurry); err != nil {
		_ = f.http.Close()
	}
	_ = f.gateway.Close()
}
