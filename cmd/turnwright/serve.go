package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"time"

	"github.com/spf13/cobra"

	"turnwright/server/schedule"
)

func (a *app) serveCommand() *cobra.Command {
	var l local
	var listen string
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Run the server that the other verbs talk to",
		Long: `Run a server until it is told to stop (Ctrl-C or SIGTERM). Searches that have not
ended go on when it is started again, whatever it was that stopped it. It listens
on loopback only. Its address is printed on standard output once it listens.

It searches with as many units at once as the host has cores. "turnwright work" adds
processes; with --workers 0 the server leaves all the work to them.`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.serve(ctx, listen, l)
		}),
	}
	l.register(cmd)
	l.stays = true
	cmd.Flags().Var(&l.cache, "table-cache", "at most so much disk for tables that are kept; those not used for longest make room (default a quarter of what is free, at most 64 GiB)")
	cmd.Flags().Var(&l.reserve, "reserve", "disk to hold back in a file, so that ends and deletions can be written when all else is full (default 256MiB)")
	cmd.Flags().DurationVar(&l.lease, "lease", schedule.LeaseTime, "give a worker's units to others when nothing is heard of it for so much `time`")
	cmd.Flags().StringVar(&listen, "listen", defaultAddress, "loopback `address` and port to listen on; port 0 takes a free one")
	return cmd
}

// leastLease leaves a worker a heartbeat that comes late.
const leastLease = time.Second

func (a *app) serve(ctx context.Context, listen string, l local) error {
	address, err := netip.ParseAddrPort(listen)
	if err != nil || !address.Addr().IsLoopback() {
		return usageError{fmt.Errorf("--listen %q: must be a loopback address with a port, such as %s", listen, defaultAddress)}
	}
	if l.lease < leastLease {
		return usageError{fmt.Errorf("--lease %v: must be %v or more, as workers are heard of twice a second", l.lease, leastLease)}
	}
	s, err := a.newServer(l, slog.LevelInfo)
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", listen)
	if err != nil {
		return errors.Join(err, s.Close())
	}
	if err := a.printAddress(listener.Addr().String()); err != nil {
		return errors.Join(err, listener.Close(), s.Close())
	}
	return errors.Join(s.Serve(ctx, listener), s.Close())
}

func (a *app) printAddress(address string) error {
	if a.output == "json" {
		return a.printJSON("server", map[string]string{"address": address})
	}
	return a.printText(fmt.Sprintf("serving on %s\n", address))
}
