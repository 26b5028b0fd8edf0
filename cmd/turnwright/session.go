package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"runtime/debug"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"turnwright/api/client"
	"turnwright/server"
	"turnwright/storage"
)

// remote is a server that runs by itself.
type remote struct {
	named           string // a name in the configuration, or an address
	ca, fingerprint string // how its certificate is known, where that is not configured
	reached         string // the address, once the work is done with it
}

func (r *remote) register(cmd *cobra.Command) {
	r.registerAs(cmd, "`name` in the configuration, or address, of the server (default $TURNWRIGHT_SERVER, the configuration's, or "+defaultAddress+")")
}

func (r *remote) registerAs(cmd *cobra.Command, usage string) {
	cmd.Flags().StringVar(&r.named, "server", "", usage)
	cmd.Flags().StringVar(&r.ca, "ca", "", "PEM `file` by which the server's certificate is known")
	cmd.Flags().StringVar(&r.fingerprint, "fingerprint", "", "SHA-256 `digits` by which the server's certificate is known, as serve prints them")
	cmd.MarkFlagsMutuallyExclusive("ca", "fingerprint")
}

// with runs the work with that server.
func (r *remote) with(work func(*client.Client) error) error {
	server, err := r.server()
	if err != nil {
		return usageError{err}
	}
	c, err := client.Open(server)
	if err != nil {
		return usageError{err}
	}
	r.reached = server.Address
	err = errors.Join(work(c), c.Close())
	if status.Code(err) == codes.Unavailable {
		return fmt.Errorf("no server answers at %s, start one with \"turnwright serve\" or name another with --server: %w", server.Address, err)
	}
	return err
}

// local says how a server of the command's own is run.
type local struct {
	data    string
	memory  size
	workers count

	cache, reserve size // of disk; 0 for the defaults
	stays          bool // holds the reserve
	lease          time.Duration
}

func (l *local) register(cmd *cobra.Command) {
	l.registerData(cmd)
	cmd.Flags().Var(&l.memory, "memory", "at most so much memory for tables (default "+defaultMemoryHelp+")")
	cmd.Flags().Var(&l.workers, "workers", "units to search at once in this process (default one for each core)")
}

func (l *local) registerData(cmd *cobra.Command) {
	cmd.Flags().StringVar(&l.data, "data", "", "`directory` for searches, tables and defined puzzles (default "+defaultDataHelp+")")
}

// either is a server that runs by itself, or one of the command's own.
type either struct {
	local
	remote
	own bool // the command's own where nothing is said
}

// registerRemote registers the flags for a verb about searches: they are with
// the server that runs by itself, unless --data says where they are.
func (e *either) registerRemote(cmd *cobra.Command) {
	e.remote.register(cmd)
	cmd.Flags().StringVar(&e.data, "data", "", "`directory` of searches to use with a server of the command's own")
	cmd.MarkFlagsMutuallyExclusive("server", "data")
}

func (e *either) registerServer(cmd *cobra.Command) {
	e.own = true
	e.registerAs(cmd, "`name` in the configuration, or address, of a server to use instead of one of the command's own")
	for _, own := range []string{"data", "workers"} {
		if cmd.Flags().Lookup(own) != nil {
			cmd.MarkFlagsMutuallyExclusive("server", own)
		}
	}
}

// register registers all flags, for a verb that searches. No worker process comes to
// help its own server.
func (e *either) register(cmd *cobra.Command) {
	e.workers.least = 1
	e.local.register(cmd)
	e.registerServer(cmd)
}

// registerData registers the flags for a verb that only asks.
func (e *either) registerData(cmd *cobra.Command) {
	e.local.registerData(cmd)
	e.registerServer(cmd)
}

// withServer runs the work with the server that was named, or with one of the
// command's own that ends with the work.
func (a *app) withServer(ctx context.Context, e either, work func(*client.Client) error) error {
	if e.data != "" || e.own && e.named == "" {
		return a.withOwnServer(ctx, e.local, work)
	}
	return e.with(work)
}

func (a *app) withOwnServer(ctx context.Context, l local, work func(*client.Client) error) (err error) {
	quiet := logging{level: level(slog.LevelWarn)}
	s, err := a.newServer(l, quiet.logger(a.stderr), server.Options{})
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return errors.Join(err, s.Close())
	}
	// The server outlives a cancelled context: the work then has calls to make.
	serving, stop := context.WithCancel(context.WithoutCancel(ctx))
	served := make(chan error, 1)
	go func() { served <- s.Serve(serving, listener) }()
	defer func() {
		stop()
		err = errors.Join(err, <-served, s.Close())
	}()
	c, err := client.Dial(listener.Addr().String())
	if err != nil {
		return err
	}
	return errors.Join(work(c), c.Close())
}

// besideTables is the memory that a server may take for all but tables, in bytes,
// before it collects garbage at every turn.
const besideTables = 512 << 20

// dir is the data directory.
func (l *local) dir() (string, error) {
	if l.data != "" {
		return l.data, nil
	}
	return defaultData()
}

func (a *app) newServer(l local, log *slog.Logger, more server.Options) (*server.Server, error) {
	data, err := l.dir()
	if err != nil {
		return nil, err
	}
	memory := int64(cmp.Or(l.memory, halfOfFree()))
	// Beside a large table the collector would let as much garbage pile up.
	debug.SetMemoryLimit(memory + besideTables)
	s, err := server.New(server.Options{
		DataDir: data,
		Workers: l.workers.option(),
		Memory:  memory,
		Logger:  log,
		Version: version(),

		TableCache: int64(l.cache), Reserve: int64(l.reserve), HoldReserve: l.stays,
		Access: more.Access,
		TLS:    more.TLS,
		Lease:  l.lease,
	})
	if errors.Is(err, storage.ErrLocked) {
		return nil, fmt.Errorf("%w; name the server that uses it with --server, or another directory with --data", err)
	}
	return s, err
}
