// Package metrics shows a server's figures in the form that Prometheus reads.
//
// The one idea: nobody counts for it. Store and runner know their figures anyway,
// and are asked for them when someone looks; only calls are counted here, by a
// library. No other package knows of Prometheus.
//
//	m := metrics.New(metrics.Sources{…})
//	grpc.ChainUnaryInterceptor(m.Unary(), …)
//	http.Handle("/metrics", m.Handler())
package metrics

import (
	"context"
	"net/http"

	calls "github.com/grpc-ecosystem/go-grpc-middleware/providers/prometheus"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	dto "github.com/prometheus/client_model/go"
	"google.golang.org/grpc"

	"turnwright/server/call"
	"turnwright/server/schedule"
	"turnwright/storage"
)

// Runner is who does the searches.
type Runner interface{ Figures() schedule.Figures }

// Store is where they are kept.
type Store interface{ Figures() storage.Figures }

// Sources are who is asked.
type Sources struct {
	Runner     Runner
	Store      Store
	Version    string
	TableLimit int64 // bytes that tables may take in memory
}

// Metrics are the figures of one server.
type Metrics struct {
	registry *prometheus.Registry
	calls    *calls.ServerMetrics
}

// New makes the metrics of the sources, of calls, and of the process.
func New(s Sources) *Metrics {
	m := &Metrics{
		registry: prometheus.NewRegistry(),
		calls: calls.NewServerMetrics(calls.WithServerHandlingTimeHistogram(
			// From a look-up to a search while the caller waits; streams last as long as they are wanted.
			calls.WithHistogramBuckets([]float64{.001, .003, .01, .03, .1, .3, 1, 3, 10, 30}),
		)),
	}
	m.registry.MustRegister(
		collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
		m.calls,
		&figures{s},
	)
	return m
}

// Unary counts calls and their time, each under its public name.
func (m *Metrics) Unary() grpc.UnaryServerInterceptor {
	count := m.calls.UnaryServerInterceptor()
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		return count(ctx, req, &grpc.UnaryServerInfo{Server: info.Server, FullMethod: call.Public(info.FullMethod)}, handler)
	}
}

// Stream counts streams, their messages and their time.
func (m *Metrics) Stream() grpc.StreamServerInterceptor { return m.calls.StreamServerInterceptor() }

// Gather gives all figures as they are now.
func (m *Metrics) Gather() ([]*dto.MetricFamily, error) { return m.registry.Gather() }

// Handler serves the figures.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{Registry: m.registry, MaxRequestsInFlight: 4})
}
