// Package port lets one address serve gRPC and plain HTTP side by side, with or
// without TLS.
//
// The one idea: look at the first bytes, then get out of the way. Without TLS a
// connection that begins as every HTTP/2 connection must is gRPC's, any other is
// HTTP's. With TLS the client's list of protocols tells: who can speak HTTP/1.1 gets
// it, as browsers and command line tools can; who offers HTTP/2 alone, as gRPC
// clients do, speaks gRPC. Each server then has the connection to itself, so gRPC
// keeps its own transport and its speed.
//
//	p := port.Split(listener, nil)
//	go grpcServer.Serve(p.GRPC)
//	go httpServer.Serve(p.HTTP)
//	err := p.Run(ctx)
package port

import (
	"context"
	"crypto/tls"
	"errors"
	"io"
	"net"
	"slices"
	"sync"
	"time"

	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
)

const (
	preface  = "PRI " // how HTTP/2 begins: RFC 9113, section 3.4
	patience = 10 * time.Second
	// At most so many connections may keep quiet at once about what they are; the
	// others wait to be accepted.
	maxQuiet = 256
)

// Port is a listener that is split in two.
type Port struct {
	GRPC, HTTP net.Listener

	lis        net.Listener
	tls        *tls.Config
	grpc, http *half
}

// Split takes the listener over. Where config is not nil all connections use TLS;
// its list of protocols is replaced.
func Split(lis net.Listener, config *tls.Config) *Port {
	p := &Port{lis: lis, grpc: newHalf(lis.Addr()), http: newHalf(lis.Addr())}
	p.GRPC, p.HTTP = p.grpc, p.http
	if config != nil {
		p.tls = config.Clone()
		p.tls.GetConfigForClient = choose(config)
	}
	return p
}

// choose offers the one protocol that a client is to speak.
func choose(config *tls.Config) func(*tls.ClientHelloInfo) (*tls.Config, error) {
	http1, http2 := config.Clone(), config.Clone()
	http1.NextProtos, http2.NextProtos = []string{"http/1.1"}, []string{"h2"}
	return func(hello *tls.ClientHelloInfo) (*tls.Config, error) {
		if slices.Contains(hello.SupportedProtos, "h2") && !slices.Contains(hello.SupportedProtos, "http/1.1") {
			return http2, nil
		}
		return http1, nil
	}
}

// Run accepts connections until ctx ends, or the listener fails for good. It closes
// the listener and both halves, and returns when nothing of it is left.
func (p *Port) Run(ctx context.Context) error {
	ctx, stop := context.WithCancel(ctx)
	var looking sync.WaitGroup
	closed := context.AfterFunc(ctx, func() { _ = p.lis.Close() })
	defer func() {
		if closed() {
			_ = p.lis.Close()
		}
		stop()
		looking.Wait()
		_, _ = p.grpc.Close(), p.http.Close()
	}()
	quiet := make(chan struct{}, maxQuiet)
	for pause := time.Duration(0); ; {
		conn, err := p.lis.Accept()
		switch {
		case ctx.Err() != nil:
			if err == nil {
				_ = conn.Close()
			}
			return nil
		case errors.Is(err, net.ErrClosed):
			return err
		case err != nil: // too many open files, as a rule: some will be closed
			pause = min(max(2*pause, 5*time.Millisecond), time.Second)
			select {
			case <-time.After(pause):
			case <-ctx.Done():
			}
			continue
		}
		pause = 0
		select {
		case quiet <- struct{}{}:
			looking.Go(func() {
				defer func() { <-quiet }()
				p.look(ctx, conn)
			})
		case <-ctx.Done():
			_ = conn.Close()
		}
	}
}

// look finds out what a connection is, and hands it over.
func (p *Port) look(ctx context.Context, conn net.Conn) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	cut := context.AfterFunc(ctx, func() { _ = conn.SetDeadline(time.Unix(1, 0)) })
	to, ready, err := p.recognise(ctx, conn)
	if !cut() || err != nil {
		_ = conn.Close()
		return
	}
	if !to.give(ctx, ready) {
		_ = conn.Close()
	}
}

func (p *Port) recognise(ctx context.Context, conn net.Conn) (*half, net.Conn, error) {
	if p.tls != nil {
		secure := tls.Server(conn, p.tls)
		if err := secure.HandshakeContext(ctx); err != nil {
			return nil, nil, err
		}
		if secure.ConnectionState().NegotiatedProtocol == "h2" {
			return p.grpc, secure, nil
		}
		return p.http, secure, nil
	}
	first := make([]byte, len(preface))
	if _, err := io.ReadFull(conn, first); err != nil {
		return nil, nil, err
	}
	if string(first) == preface {
		return p.grpc, &peeked{conn, first}, nil
	}
	return p.http, &peeked{conn, first}, nil
}

// peeked is a connection whose first bytes were read already.
type peeked struct {
	net.Conn
	first []byte
}

func (p *peeked) Read(b []byte) (int, error) {
	if len(p.first) == 0 {
		return p.Conn.Read(b)
	}
	n := copy(b, p.first)
	p.first = p.first[n:]
	return n, nil
}

// half is one of the two listeners.
type half struct {
	address net.Addr
	conns   chan net.Conn
	closed  chan struct{}
	once    sync.Once
}

func newHalf(address net.Addr) *half {
	return &half{address: address, conns: make(chan net.Conn), closed: make(chan struct{})}
}

func (h *half) give(ctx context.Context, conn net.Conn) bool {
	select {
	case h.conns <- conn:
		return true
	case <-h.closed:
	case <-ctx.Done():
	}
	return false
}

// Accept gives the next connection of this kind.
func (h *half) Accept() (net.Conn, error) {
	select {
	case conn := <-h.conns:
		return conn, nil
	case <-h.closed:
		return nil, net.ErrClosed
	}
}

// Close ends Accept. Connections that were handed over stay.
func (h *half) Close() error {
	h.once.Do(func() { close(h.closed) })
	return nil
}

// Addr is the address that both halves share.
func (h *half) Addr() net.Addr { return h.address }

// Credentials let a gRPC server take connections of a [Port], on which TLS, if any,
// is done already: handlers find it in the peer as if gRPC had done it.
func Credentials() credentials.TransportCredentials {
	return done{insecure.NewCredentials()}
}

type done struct {
	credentials.TransportCredentials
}

func (d done) ServerHandshake(conn net.Conn) (net.Conn, credentials.AuthInfo, error) {
	secure, ok := conn.(*tls.Conn)
	if !ok {
		return d.TransportCredentials.ServerHandshake(conn)
	}
	return conn, credentials.TLSInfo{
		State:          secure.ConnectionState(),
		CommonAuthInfo: credentials.CommonAuthInfo{SecurityLevel: credentials.PrivacyAndIntegrity},
	}, nil
}

func (d done) Clone() credentials.TransportCredentials { return d }
