package client

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
)

// Server says where a server is and how it is known. A server on another host is
// always reached over TLS, and takes a token. One on loopback is reached over TLS
// where CA or Fingerprint is set.
type Server struct {
	Address string // host and port
	Token   string // goes with each call; none where empty

	// How the server's certificate is known; by the system's authorities where both
	// are empty. Only one of them can be set.
	CA          string // PEM file of authorities, or of the certificate itself
	Fingerprint string // SHA-256 of the certificate, in hexadecimal digits; colons and case don't matter
}

// Open prepares a connection to a server. It connects with the first call.
func Open(s Server, options ...grpc.DialOption) (*Client, error) {
	known, err := s.Credentials()
	if err != nil {
		return nil, err
	}
	return connect("dns:///"+s.Address, append(known, options...)...)
}

// Credentials are the options of a connection that has the server proven and the caller
// known, for stubs of the caller's own.
func (s Server) Credentials() ([]grpc.DialOption, error) {
	host, _, err := net.SplitHostPort(s.Address)
	if err != nil {
		return nil, fmt.Errorf("server address %q: %w", s.Address, err)
	}
	if !isLoopback(host) && s.Token == "" {
		return nil, fmt.Errorf("server address %q: a server on another host takes a token", s.Address)
	}
	all := []grpc.DialOption{grpc.WithTransportCredentials(insecure.NewCredentials())}
	if !isLoopback(host) || s.CA != "" || s.Fingerprint != "" {
		config, err := s.tls()
		if err != nil {
			return nil, err
		}
		all[0] = grpc.WithTransportCredentials(credentials.NewTLS(config))
	}
	if s.Token != "" {
		if strings.ContainsAny(s.Token, " \t\r\n") {
			return nil, errors.New("the token has spaces or line ends in it")
		}
		all = append(all, grpc.WithPerRPCCredentials(bearer{s.Token, !isLoopback(host)}))
	}
	return all, nil
}

func (s Server) tls() (*tls.Config, error) {
	config := &tls.Config{MinVersion: tls.VersionTLS13}
	switch {
	case s.CA != "" && s.Fingerprint != "":
		return nil, errors.New("a server is known by a CA or by a fingerprint, not by both")
	case s.CA != "":
		data, err := os.ReadFile(s.CA)
		if err != nil {
			return nil, fmt.Errorf("read the CA: %w", err)
		}
		config.RootCAs = x509.NewCertPool()
		if !config.RootCAs.AppendCertsFromPEM(data) {
			return nil, fmt.Errorf("read the CA: %s has no certificate in PEM", s.CA)
		}
	case s.Fingerprint != "":
		want, err := hex.DecodeString(strings.ReplaceAll(strings.TrimSpace(s.Fingerprint), ":", ""))
		if err != nil || len(want) != sha256.Size {
			return nil, fmt.Errorf("fingerprint %q: use the 64 hexadecimal digits that the server prints", s.Fingerprint)
		}
		// The certificate itself is known: its names and dates say no more.
		config.InsecureSkipVerify = true
		config.VerifyConnection = func(state tls.ConnectionState) error {
			got := sha256.Sum256(state.PeerCertificates[0].Raw)
			if subtle.ConstantTimeCompare(got[:], want) != 1 {
				return fmt.Errorf("the server's certificate has the fingerprint %x, which is not the one expected", got)
			}
			return nil
		}
	}
	return config, nil
}

// bearer sends a token with each call.
type bearer struct {
	token  string
	secure bool
}

func (b bearer) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + b.token}, nil
}

func (b bearer) RequireTransportSecurity() bool { return b.secure }

func isLoopback(host string) bool {
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}
