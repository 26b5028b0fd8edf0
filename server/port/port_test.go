package port_test

import (
	"bufio"
	"context"
	"crypto/tls"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/peer"

	"turnwright/server/port"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// secured tells how a call came, by the peer that its handler saw.
type secured struct{ tls bool }

// start serves health over gRPC and "hello" over HTTP on one port.
func start(t testing.TB, config *tls.Config) (address string, seen *secured) {
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	p := port.Split(lis, config)
	seen = &secured{}
	g := grpc.NewServer(grpc.Creds(port.Credentials()), grpc.UnaryInterceptor(
		func(ctx context.Context, req any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
			p, _ := peer.FromContext(ctx)
			_, seen.tls = p.AuthInfo.(credentials.TLSInfo)
			return next(ctx, req)
		}))
	healthv1.RegisterHealthServer(g, health.NewServer())
	web := &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.WriteString(w, "hello "+r.Proto)
	})}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 3)
	go func() { ended <- p.Run(ctx) }()
	go func() { ended <- g.Serve(p.GRPC) }()
	go func() { ended <- web.Serve(p.HTTP) }()
	t.Cleanup(func() {
		cancel()
		g.Stop()
		require.NoError(t, web.Close())
		for range 3 {
			if err := <-ended; err != nil {
				assert.True(t, errors.Is(err, http.ErrServerClosed) || errors.Is(err, grpc.ErrServerStopped) || errors.Is(err, net.ErrClosed), err)
			}
		}
	})
	return lis.Addr().String(), seen
}

func check(t *testing.T, address string, creds credentials.TransportCredentials) {
	t.Helper()
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(creds))
	require.NoError(t, err)
	defer conn.Close()
	answer, err := healthv1.NewHealthClient(conn).Check(t.Context(), &healthv1.HealthCheckRequest{})
	require.NoError(t, err)
	assert.Equal(t, healthv1.HealthCheckResponse_SERVING, answer.GetStatus())
}

func get(t *testing.T, client *http.Client, url string) string {
	t.Helper()
	resp, err := client.Get(url)
	require.NoError(t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	return string(body)
}

func TestBothOnOnePort(t *testing.T) {
	address, seen := start(t, nil)
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	for range 3 {
		check(t, address, insecure.NewCredentials())
		assert.Equal(t, "hello HTTP/1.1", get(t, client, "http://"+address))
	}
	assert.False(t, seen.tls)
}

func TestBothOnOnePortWithTLS(t *testing.T) {
	borrowed := httptest.NewUnstartedServer(nil) // for its certificate
	borrowed.StartTLS()
	defer borrowed.Close()
	address, seen := start(t, &tls.Config{Certificates: borrowed.TLS.Certificates, MinVersion: tls.VersionTLS12})
	trust := borrowed.Client().Transport.(*http.Transport).TLSClientConfig.RootCAs

	check(t, address, credentials.NewTLS(&tls.Config{RootCAs: trust}))
	assert.True(t, seen.tls)
	// One that would rather speak HTTP/2, as browsers do, one that has never heard
	// of it, and one that does not say.
	for _, protocols := range [][]string{{"h2", "http/1.1"}, {"http/1.1"}, nil} {
		client := &http.Client{Transport: &http.Transport{
			DisableKeepAlives: true, TLSClientConfig: &tls.Config{RootCAs: trust, NextProtos: protocols},
		}}
		assert.Equal(t, "hello HTTP/1.1", get(t, client, "https://"+address), protocols)
	}
	// Without TLS there is nothing.
	_, err := (&http.Client{Transport: &http.Transport{DisableKeepAlives: true}}).Get("http://" + address)
	require.Error(t, err)
}

// Connections that keep quiet don't keep others waiting, and the end of the port is
// theirs too.
func TestQuietConnections(t *testing.T) {
	address, _ := start(t, nil)
	for range 50 {
		conn, err := net.Dial("tcp", address)
		require.NoError(t, err)
		_, err = io.WriteString(conn, "PR") // could still become either
		require.NoError(t, err)
		t.Cleanup(func() { conn.Close() })
	}
	check(t, address, insecure.NewCredentials())
}

// Whatever is begun like HTTP arrives whole, however it is cut.
func TestNothingIsLostInLooking(t *testing.T) {
	address, _ := start(t, nil)
	conn, err := net.Dial("tcp", address)
	require.NoError(t, err)
	defer conn.Close()
	for _, b := range []byte("GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n") {
		_, err := conn.Write([]byte{b})
		require.NoError(t, err)
	}
	resp, err := http.ReadResponse(bufio.NewReader(conn), nil)
	require.NoError(t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	assert.Equal(t, "hello HTTP/1.1", string(body))
}
