package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"turnwright/server"
	"turnwright/server/access"
	"turnwright/server/certificate"
	"turnwright/server/schedule"
)

// serving is how a server is reached, and by whom.
type serving struct {
	local
	listen        string
	cert, key     string
	selfSigned    bool
	requireTokens bool
	searches      int
	tables        size
	rate          float64
	log           logging
}

func (a *app) serveCommand() *cobra.Command {
	var s serving
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Run the server that the other verbs talk to",
		Long: `Run a server until it is told to stop (Ctrl-C or SIGTERM). Searches that have not
ended go on when it is started again, whatever it was that stopped it. Its address is
printed on standard output once it listens.

On loopback nothing needs to be set up: whoever is on this host is the organiser, unless
--require-tokens is given, as behind a proxy. Any other address takes TLS, and at least
one member with a token: "turnwright member add NAME --role organiser --data DIRECTORY"
makes the first one while no server runs.

It searches with as many units at once as the host has cores. "turnwright work" adds
processes; with --workers 0 the server leaves all the work to them.`,
		Example: `  turnwright serve
  turnwright serve --listen 0.0.0.0:7431 --tls-self-signed`,
		Args: cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.serve(ctx, &s)
		}),
	}
	s.register(cmd)
	s.log.register(cmd)
	flags := cmd.Flags()
	s.stays = true
	flags.Var(&s.cache, "table-cache", "at most so much disk for tables that are kept; those not used for longest make room (default a quarter of what is free, at most 64 GiB)")
	flags.Var(&s.reserve, "reserve", "disk to hold back in a file, so that ends and deletions can be written when all else is full (default 256MiB)")
	flags.DurationVar(&s.lease, "lease", schedule.LeaseTime, "give a worker's units to others when nothing is heard of it for so much `time`")
	flags.StringVar(&s.listen, "listen", defaultAddress, "`address` and port to listen on; port 0 takes a free one")
	flags.StringVar(&s.cert, "tls-cert", "", "PEM `file` of the server's certificate, and those that lead to it; read again when it was renewed")
	flags.StringVar(&s.key, "tls-key", "", "PEM `file` of its key, read again with it")
	flags.BoolVar(&s.selfSigned, "tls-self-signed", false, "make a certificate and keep it in the data directory; clients know it by its fingerprint")
	flags.BoolVar(&s.requireTokens, "require-tokens", false, "ask for a token over loopback too")
	flags.IntVar(&s.searches, "member-searches", 1000, "`number` of searches of one member that wait or work at once")
	flags.Var(&s.tables, "member-memory", "at most so much memory for the tables of a member's search (default as for all)")
	flags.Float64Var(&s.rate, "member-rate", 50, "calls of one member in a `second`")
	cmd.MarkFlagsRequiredTogether("tls-cert", "tls-key")
	cmd.MarkFlagsMutuallyExclusive("tls-cert", "tls-self-signed")
	return cmd
}

// leastLease leaves a worker a heartbeat that comes late.
const leastLease = time.Second

func (a *app) serve(ctx context.Context, s *serving) error {
	address, err := netip.ParseAddrPort(s.listen)
	switch {
	case err != nil:
		return usageError{fmt.Errorf("--listen %q: must be an IP address with a port, such as %s", s.listen, defaultAddress)}
	case !address.Addr().IsLoopback() && s.cert == "" && !s.selfSigned:
		return usageError{fmt.Errorf("--listen %s can be reached from elsewhere: add --tls-self-signed, or --tls-cert and --tls-key", s.listen)}
	case s.lease < leastLease:
		return usageError{fmt.Errorf("--lease %v: must be %v or more, as workers are heard of twice a second", s.lease, leastLease)}
	case s.searches < 1:
		return usageError{fmt.Errorf("--member-searches %d: must be at least 1", s.searches)}
	case !(s.rate >= 1 && s.rate <= 1e6):
		return usageError{fmt.Errorf("--member-rate %v: must be 1 to 1000000", s.rate)}
	}
	log := s.log.logger(a.stderr)
	config, fingerprint, err := s.certificate(log)
	if err != nil {
		return err
	}
	server, err := a.newServer(s.local, log, server.Options{
		TLS: config,
		Access: access.Options{
			RequireTokens: s.requireTokens, MaxSearches: s.searches, MaxMemory: int64(s.tables), Rate: s.rate,
		},
	})
	if err != nil {
		return err
	}
	if err := server.MayListen(ctx, net.TCPAddrFromAddrPort(address)); err != nil {
		return errors.Join(fmt.Errorf("%w, with \"turnwright member add NAME --role organiser\" and the same --data", err), server.Close())
	}
	listener, err := net.Listen("tcp", s.listen)
	if err != nil {
		return errors.Join(err, server.Close())
	}
	if err := a.printAddress(listener.Addr().String(), fingerprint); err != nil {
		return errors.Join(err, listener.Close(), server.Close())
	}
	return errors.Join(server.Serve(ctx, listener), server.Close())
}

// certificate gets the server's certificate; its fingerprint where clients need it.
func (s *serving) certificate(log *slog.Logger) (config *tls.Config, fingerprint string, err error) {
	var cert tls.Certificate
	switch {
	case s.cert != "":
		cert, err = certificate.Load(s.cert, s.key)
	case s.selfSigned:
		var dir string
		if dir, err = s.dir(); err != nil {
			return nil, "", err
		}
		cert, err = certificate.SelfSigned(filepath.Join(dir, "tls"))
	default:
		return nil, "", nil
	}
	if err != nil {
		return nil, "", err
	}
	config = &tls.Config{MinVersion: tls.VersionTLS13}
	if s.selfSigned {
		config.Certificates = []tls.Certificate{cert}
	} else {
		config.GetCertificate = certificate.Renewed(cert, s.cert, s.key, log)
	}
	return config, certificate.Fingerprint(cert), nil
}

func (a *app) printAddress(address, fingerprint string) error {
	if a.output == "json" {
		form := map[string]string{"address": address}
		if fingerprint != "" {
			form["fingerprint"] = fingerprint
		}
		return a.printJSON("server", form)
	}
	text := fmt.Sprintf("serving on %s\n", address)
	if fingerprint != "" {
		text += fmt.Sprintf("the certificate's fingerprint is %s\n", fingerprint)
	}
	return a.printText(text)
}
