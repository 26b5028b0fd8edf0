// Package server puts the service together: storage, the runner that searches,
// and the gRPC services on a listener, with an orderly end.
//
//	s, err := server.New(server.Options{DataDir: dir})
//	err = s.Serve(ctx, listener) // until ctx ends
//	err = s.Close()
package server

import (
	"context"
	"crypto/tls"
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
	"turnwright/server/access"
	"turnwright/server/care"
	"turnwright/server/commutators"
	"turnwright/server/coverage"
	"turnwright/server/effects"
	"turnwright/server/engine"
	"turnwright/server/fits"
	"turnwright/server/gateway"
	"turnwright/server/insertions"
	"turnwright/server/joins"
	"turnwright/server/members"
	"turnwright/server/metrics"
	"turnwright/server/page"
	"turnwright/server/pictures"
	"turnwright/server/port"
	"turnwright/server/puzzles"
	"turnwright/server/readings"
	"turnwright/server/remote"
	"turnwright/server/rounds"
	"turnwright/server/schedule"
	"turnwright/server/searches"
	"turnwright/server/status"
	"turnwright/server/studies"
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

	Now func() time.Time // the clock of rounds; time.Now where nil

	Access access.Options // who may call, and how much they may do
	TLS    *tls.Config    // with a certificate; calls are not encrypted where nil
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
	if opt.Now == nil {
		opt.Now = time.Now
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

// MayListen tells whether the server may be reached under an address: only loopback
// without both TLS and tokens. Serve asks too.
func (s *Server) MayListen(ctx context.Context, address net.Addr) error {
	tcp, ok := address.(*net.TCPAddr)
	elsewhere := !ok || !tcp.IP.IsLoopback()
	if !elsewhere && !s.opt.Access.RequireTokens {
		return nil
	}
	if elsewhere && s.opt.TLS == nil {
		return fmt.Errorf("%s can be reached from elsewhere: that takes a TLS certificate", address)
	}
	some, err := s.store.AnyToken(ctx)
	if err != nil {
		return err
	}
	if !some {
		return errors.New("no member has a token that counts, so nobody could come in: add an organiser first")
	}
	return nil
}

// Limits of the transport.
const (
	maxRequest   = gateway.MaxBody // bytes
	maxStreams   = 1000            // calls at once on a connection
	stopPatience = 5 * time.Second

	connectPatience = 10 * time.Second
)

// Serve answers on the listener and searches, until ctx ends; then it stops in
// order: health says so, streams end with their cursors, calls finish, workers
// stop. What is not finished goes on when the directory is served again. Serve
// can be called once.
func (s *Server) Serve(ctx context.Context, lis net.Listener) error {
	log := s.opt.Logger
	if err := s.MayListen(context.WithoutCancel(ctx), lis.Addr()); err != nil {
		return errors.Join(err, lis.Close())
	}
	permit := s.opt.Access
	if tcp, ok := lis.Addr().(*net.TCPAddr); !ok || !tcp.IP.IsLoopback() {
		permit.RequireTokens = true // who comes over loopback may come from elsewhere, through a proxy
	}
	if err := s.store.MoveRounds(context.WithoutCancel(ctx), s.opt.Now()); err != nil { // those that were due meanwhile
		return errors.Join(err, lis.Close())
	}
	guard := access.NewGuard(s.store, permit, log)
	library := puzzles.NewLibrary(s.store)
	runner := schedule.NewRunner(s.store, func(spec storage.Spec) (engine.Engine, error) { return engine.New(library, spec) }, schedule.Options{
		Slots: s.opt.Workers, Memory: s.opt.Memory, Logger: log, Lease: s.opt.Lease, Version: s.opt.Version, Host: remote.HostID(),
	})
	stopping := make(chan struct{})
	e := edge{log}
	figures := metrics.New(metrics.Sources{Runner: runner, Store: s.store, Version: s.opt.Version, TableLimit: s.opt.Memory})
	g := grpc.NewServer(
		grpc.ForceServerCodecV2(newCodec()),
		grpc.Creds(gateway.Credentials(port.Credentials())),
		grpc.ConnectionTimeout(connectPatience),
		grpc.ChainUnaryInterceptor(figures.Unary(), e.unary, guard.Unary, unaryReadable),
		grpc.ChainStreamInterceptor(figures.Stream(), e.stream, guard.Stream),
		grpc.MaxRecvMsgSize(maxRequest),
		grpc.MaxConcurrentStreams(maxStreams),
		grpc.WaitForHandlers(true),
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: 30 * time.Second, Timeout: 10 * time.Second}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 15 * time.Second, PermitWithoutStream: true}),
	)
	competitions := rounds.NewService(s.store, library, s.pages, rounds.Options{
		Scrambler: &rounds.Drawn{}, Judge: rounds.Letter{}, Now: s.opt.Now,
	})
	v1.RegisterRoundServiceServer(g, competitions)
	service := searches.NewService(s.store, runner, competitions, library, s.pages, s.opt.Memory)
	v1.RegisterPuzzleServiceServer(g, puzzles.NewService(library, s.pages))
	v1.RegisterEffectServiceServer(g, effects.NewService(library))
	v1.RegisterDrawServiceServer(g, pictures.NewService(library))
	v1.RegisterCommutatorServiceServer(g, commutators.NewService(library))
	v1.RegisterSearchServiceServer(g, service)
	read := readings.New()
	between := joins.New(s.store, library, read)
	findings := searches.NewFindings(service, read, between, stopping)
	v1.RegisterFindingServiceServer(g, findings)
	known := coverage.NewTables(s.store)
	v1.RegisterCoverageServiceServer(g, coverage.NewService(known, library, read, s.pages))
	v1.RegisterFitServiceServer(g, fits.NewService(known, library, read))
	v1.RegisterInsertionServiceServer(g, insertions.NewService(known, library, s.store, between, read, s.pages))
	solutions := studies.NewService(library, competitions, stopping)
	v1.RegisterStudyServiceServer(g, solutions)
	v1.RegisterWorkerServiceServer(g, workers.NewService(runner, s.store, s.pages, s.opt.Version, remote.HostID(), stopping))
	administration := care.NewService(s.store, library, s.opt.Version, stopping)
	v1.RegisterAdministrationServiceServer(g, administration)
	v1.RegisterStatusServiceServer(g, status.NewService(
		status.Server{Version: s.opt.Version, Address: lis.Addr().String(), TableLimit: s.opt.Memory}, runner, s.store, service))
	v1.RegisterMemberServiceServer(g, members.NewService(s.store, s.pages))
	healthy := health.NewServer()
	healthv1.RegisterHealthServer(g, healthy)
	reflection.Register(g)
	outside, err := newFront(lis, s.opt.TLS, g, healthy, figures, log)
	if err != nil {
		return errors.Join(err, lis.Close())
	}

	work, stopWork := context.WithCancel(context.WithoutCancel(ctx))
	var working sync.WaitGroup
	working.Go(func() { runner.Run(work) })
	working.Go(func() { watchDisk(work, s.store.DiskLow, healthy, log) })
	served := make(chan error, 1)
	go func() { served <- outside.serve() }()
	log.Info("serving", "address", lis.Addr().String(), "version", s.opt.Version, "workers", s.opt.Workers)

	select {
	case <-ctx.Done():
	case err = <-served:
		served <- nil // taken again below
	}
	healthy.Shutdown()
	close(stopping)
	stopWork()
	outside.stop()
	findings.Wait()
	administration.Wait()
	solutions.Wait()
	working.Wait()
	err = errors.Join(err, <-served)
	log.Info("stopped")
	return err
}

// Close closes the data directory. Serve must have returned, if it was called.
func (s *Server) Close() error { return s.store.Close() }
