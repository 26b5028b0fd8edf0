package gateway

import (
	"context"
	"net"
	"net/http"
	"net/netip"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/test/bufconn"
)

const pipeBuffer = 256 << 10 // bytes

// Pipe is a listener inside the process, which the gateway alone can reach.
type Pipe struct{ *bufconn.Listener }

// NewPipe makes a pipe.
func NewPipe() *Pipe { return &Pipe{bufconn.Listen(pipeBuffer)} }

// Accept marks connections as the gateway's own.
func (p *Pipe) Accept() (net.Conn, error) {
	conn, err := p.Listener.Accept()
	if err != nil {
		return nil, err
	}
	return inner{conn}, nil
}

func (p *Pipe) dial() (*grpc.ClientConn, error) {
	return grpc.NewClient("passthrough:///gateway",
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return p.DialContext(ctx) }))
}

type inner struct{ net.Conn }

// trusted is how the server knows calls of the gateway: no other connection has it.
type trusted struct{ credentials.AuthInfo }

// Credentials let a server tell the gateway's connections from others, which are
// left to the given credentials.
func Credentials(others credentials.TransportCredentials) credentials.TransportCredentials {
	return marking{others}
}

type marking struct {
	credentials.TransportCredentials
}

func (m marking) ServerHandshake(conn net.Conn) (net.Conn, credentials.AuthInfo, error) {
	if _, ok := conn.(inner); !ok {
		return m.TransportCredentials.ServerHandshake(conn)
	}
	_, plain, err := insecure.NewCredentials().ServerHandshake(conn)
	return conn, trusted{plain}, err
}

func (m marking) Clone() credentials.TransportCredentials { return m }

// remoteKey is the metadata key under which the gateway says who calls.
const remoteKey = "turnwright-remote"

// remote says who sent a request: "http" or "https", and the address.
func remote(r *http.Request) metadata.MD {
	scheme := "http"
	if r.TLS != nil {
		scheme = "https"
	}
	return metadata.Pairs(remoteKey, scheme+" "+r.RemoteAddr)
}

// Caller puts who really calls into the peer of the context, where the call came
// through the gateway. What others say under the same key counts for nothing.
func Caller(ctx context.Context) context.Context {
	p, ok := peer.FromContext(ctx)
	if !ok {
		return ctx
	}
	inside, ok := p.AuthInfo.(trusted)
	if !ok {
		return ctx
	}
	caller := &peer.Peer{Addr: unknown{}, LocalAddr: p.LocalAddr, AuthInfo: inside.AuthInfo}
	if said := metadata.ValueFromIncomingContext(ctx, remoteKey); len(said) == 1 {
		scheme, address, _ := strings.Cut(said[0], " ")
		if at, err := netip.ParseAddrPort(address); err == nil {
			caller.Addr = net.TCPAddrFromAddrPort(at)
		}
		if scheme == "https" {
			caller.AuthInfo = credentials.TLSInfo{
				CommonAuthInfo: credentials.CommonAuthInfo{SecurityLevel: credentials.PrivacyAndIntegrity},
			}
		}
	}
	return peer.NewContext(ctx, caller)
}

// unknown is the address of a caller who can't be told: never one of loopback.
type unknown struct{}

func (unknown) Network() string { return "tcp" }
func (unknown) String() string  { return "unknown" }
