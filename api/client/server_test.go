package client

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestOpenProvesTheServerAndGuardsTheToken(t *testing.T) {
	digits := strings.Repeat("0f", 32)
	noPEM := filepath.Join(t.TempDir(), "ca.pem")
	require.NoError(t, os.WriteFile(noPEM, []byte("nothing"), 0o600))
	for _, c := range []struct {
		what    string
		server  Server
		message string // of the error; none where empty
	}{
		{"on this host", Server{Address: "127.0.0.1:1"}, ""},
		{"on this host with a token", Server{Address: "localhost:1", Token: "t"}, ""},
		{"on this host with a fingerprint", Server{Address: "[::1]:1", Fingerprint: digits}, ""},
		{"elsewhere with a token", Server{Address: "example.org:1", Token: "t"}, ""},
		{"a fingerprint as people write it", Server{Address: "example.org:1", Token: "t", Fingerprint: " " + strings.Repeat("0F:", 31) + "0F"}, ""},
		{"elsewhere without a token", Server{Address: "example.org:1", Fingerprint: digits}, "takes a token"},
		{"no port", Server{Address: "example.org", Token: "t"}, "missing port"},
		{"a short fingerprint", Server{Address: "127.0.0.1:1", Fingerprint: "0f0f"}, "64 hexadecimal digits"},
		{"no fingerprint", Server{Address: "127.0.0.1:1", Fingerprint: strings.Repeat("x", 64)}, "64 hexadecimal digits"},
		{"known twice", Server{Address: "127.0.0.1:1", Fingerprint: digits, CA: noPEM}, "not by both"},
		{"a CA that is not there", Server{Address: "127.0.0.1:1", CA: noPEM + "x"}, "read the CA"},
		{"a CA that is none", Server{Address: "127.0.0.1:1", CA: noPEM}, "no certificate in PEM"},
		{"a token of two lines", Server{Address: "127.0.0.1:1", Token: "a\nb"}, "spaces or line ends"},
	} {
		t.Run(c.what, func(t *testing.T) {
			client, err := Open(c.server)
			if c.message != "" {
				assert.ErrorContains(t, err, c.message)
				return
			}
			require.NoError(t, err)
			assert.NoError(t, client.Close())
		})
	}
	assert.True(t, bearer{"t", true}.RequireTransportSecurity())
}
