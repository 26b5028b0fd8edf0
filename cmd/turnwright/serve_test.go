package main

import (
	"crypto/tls"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/test/bufconn"

	"turnwright/server/certificate"
	"turnwright/server/port"
)

// Clients of both kinds get a renewed certificate from a server that goes on.
func TestServeUsesARenewedCertificate(t *testing.T) {
	dir := t.TempDir()
	_, err := certificate.SelfSigned(dir)
	require.NoError(t, err)
	synctest.Test(t, func(t *testing.T) {
		s := serving{cert: filepath.Join(dir, "certificate.pem"), key: filepath.Join(dir, "key.pem")}
		config, first, err := s.certificate(slog.New(slog.DiscardHandler))
		require.NoError(t, err)
		listener := bufconn.Listen(1 << 16)
		p := port.Split(listener, config)
		go func() { _ = p.Run(t.Context()) }()
		seen := func(protocol string) string {
			conn, err := listener.DialContext(t.Context())
			require.NoError(t, err)
			client := tls.Client(conn, &tls.Config{InsecureSkipVerify: true, ServerName: "localhost", NextProtos: []string{protocol}}) //nolint:gosec // it looks for itself
			require.NoError(t, client.HandshakeContext(t.Context()))
			defer conn.Close()
			return certificate.Fingerprint(tls.Certificate{Certificate: [][]byte{client.ConnectionState().PeerCertificates[0].Raw}})
		}
		assert.Equal(t, first, seen("h2"))
		assert.Equal(t, first, seen("http/1.1"))

		require.NoError(t, os.RemoveAll(dir))
		next, err := certificate.SelfSigned(dir)
		require.NoError(t, err)
		time.Sleep(time.Minute)
		assert.Equal(t, certificate.Fingerprint(next), seen("http/1.1"))
		assert.Equal(t, certificate.Fingerprint(next), seen("h2"))
	})
}
