// Package server puts the service together: storage, the runner that searches,
// and the gRPC services on a listener, with an orderly end.
//
//	s, err := server.New(server.Options{DataDir: dir})
//	err = s.Serve(ctx, listener) // until ctx ends
//	err = s.Close()
package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"runtime"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/deepen"
	"turnwright/server/care"
	"turnwright/server/commutators"
	"turnwright/server/coverage"
	"turnwright/server/effects"
	"turnwright/server/engine"
	"turnwright/server/fits"
	"turnwright/server/insertions"
	"turnwright/server/page"
	"turnwright/server/pictures"
	"turnwright/server/puzzles"
	"turnwright/server/remote"
	"turnwright/server/schedule"
	"turnwright/server/searches"
	"turnwright/server/workers"
	"turnwright/storage"
)

// Options say how a server runs. Zero values take the defaults.
type Options struct {
	DataDir string // required
	Workers int    // units that this process searches at once; one for each core where it is 0, none where it is negative
	Memory  int64  // bytes for tables that one search may use; deepen.DefaultMemory by default
	Logger  *slog.Logger
	Version string
	Lease   time.Duration // how long a unit stays with a worker of which nothing is heard; schedule.LeaseTime by default

	TableCache  int64 // bytes of disk for tables that are kept; see storage.Options
	Reserve     int64 // bytes of disk that stay free; see storage.Options
	HoldReserve bool  // keep them from others too, for a server that stays
}

// Server is a server with its data directory open.
type Server struct {
	opt   Options
	store *storage.Store
	pages *page.Tokens
}

// New opens the data directory.
func New(opt Options) (*Server, error) {
	if opt.DataDir == "" {
		return nil, errors.New("a server needs a data directory")
	}
	if opt.Memory < 0 {
		return nil, fmt.Errorf("%d bytes of memory: it can't be negative", opt.Memory)
	}
	if opt.Workers == 0 {
		opt.Workers = runtime.GOMAXPROCS(0)
	}
	opt.Workers = max(0, opt.Workers)
	if opt.Memory == 0 {
		opt.Memory = deepen.DefaultMemory
	}
	if opt.Logger == nil {
		opt.Logger = slog.New(slog.DiscardHandler)
	}
	store, err := storage.Open(storage.Options{
		Dir: opt.DataDir, Logger: opt.Logger,
		TableCache: opt.TableCache, Reserve: opt.Reserve, HoldReserve: opt.HoldReserve,
	})
	if err != nil {
		return nil, err
	}
	key, err := store.TokenKey()
	if err != nil {
		return nil, errors.Join(err, store.Close())
	}
	return &Server{opt: opt, store: store, pages: page.NewTokens(key)}, nil
}

// Limits of the transport.
const (
	maxRequest   = 1 << 20 // bytes
	maxStreams   = 1000    // calls at once on a connection
	stopPatience = 5 * time.Second
)

// Serve answers on the listener and searches, until ctx ends; then it stops in
// order: health says so, streams end with their cursors, calls finish, workers
// stop. What is not finished goes on when the directory is served again. Serve
// can be called once.
func (s *Server) Serve(ctx context.Context, lis net.Listener) error {
	log := s.opt.Logger
	library := puzzles.NewLibrary(s.store)
	runner := schedule.NewRunner(s.store, func(spec storage.Spec) (engine.Engine, error) { return engine.New(library, spec) }, schedule.Options{
		Slots: s.opt.Workers, Memory: s.opt.Memory, Logger: log, Lease: s.opt.Lease, Version: s.opt.Version, Host: remote.HostID(),
	})
	stopping := make(chan struct{})
	e := edge{log}
	g := grpc.NewServer(
		grpc.UnaryInterceptor(e.unary),
		grpc.StreamInterceptor(e.stream),
		grpc.MaxRecvMsgSize(maxRequest),
		grpc.MaxConcurrentStreams(maxStreams),
		grpc.WaitForHandlers(true),
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: 30 * time.Second, Timeout: 10 * time.Second}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 15 * time.Second, PermitWithoutStream: true}),
	)
	service := searches.NewService(s.store, runner, library, s.pages, s.opt.Memory)
	v1.RegisterPuzzleServiceServer(g, puzzles.NewService(library, s.pages))
	v1.RegisterEffectServiceServer(g, effects.NewService(library))
	v1.RegisterDrawServiceServer(g, pictures.NewService(library))
	v1.RegisterCommutatorServiceServer(g, commutators.NewService(library))
	v1.RegisterSearchServiceServer(g, service)
	findings := searches.NewFindings(service, stopping)
	v1.RegisterFindingServiceServer(g, findings)
	known := coverage.NewTables(s.store)
	v1.RegisterCoverageServiceServer(g, coverage.NewService(known, library, s.pages))
	v1.RegisterFitServiceServer(g, fits.NewService(known, library))
	v1.RegisterInsertionServiceServer(g, insertions.NewService(known, library, s.store, s.pages))
	v1.RegisterWorkerServiceServer(g, workers.NewService(runner, s.store, s.pages, s.opt.Version, remote.HostID(), stopping))
	administration := care.NewService(s.store, s.opt.Version, stopping)
	v1.RegisterAdministrationServiceServer(g, administration)
	healthy := health.NewServer()
	healthv1.RegisterHealthServer(g, healthy)
	reflection.Register(g)

	work, stopWork := context.WithCancel(context.WithoutCancel(ctx))
	var working sync.WaitGroup
	working.Go(func() { runner.Run(work) })
	working.Go(func() { watchDisk(work, s.store.DiskLow, healthy, log) })
	served := make(chan error, 1)
	go func() { served <- g.Serve(lis) }()
	log.Info("serving", "address", lis.Addr().String(), "version", s.opt.Version, "workers", s.opt.Workers)

	var err error
	select {
	case <-ctx.Done():
	case err = <-served:
		served <- nil // taken again below
	}
	healthy.Shutdown()
	close(stopping)
	stopWork()
	hurry := time.AfterFunc(stopPatience, g.Stop)
	g.GracefulStop()
	hurry.Stop()
	findings.Wait()
	administration.Wait()
	working.Wait()
	// Where ctx ended at once, the end came before g.Serve was under way.
	if last := <-served; !errors.Is(last, grpc.ErrServerStopped) {
		err = errors.Join(err, last)
	}
	log.Info("stopped")
	return err
}

// Close closes the data directory. Serve must have returned, if it was called.
func (s *Server) Close() error { return s.store.Close() }
