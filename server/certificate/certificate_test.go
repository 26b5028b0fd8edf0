package certificate

import (
	"crypto/x509"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestACertificateIsMadeOnceAndKept(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "tls")
	first, err := SelfSigned(dir)
	require.NoError(t, err)
	again, err := SelfSigned(dir)
	require.NoError(t, err)
	assert.Equal(t, Fingerprint(first), Fingerprint(again))
	assert.Regexp(t, `^[0-9a-f]{64}$`, Fingerprint(first))
	other, err := SelfSigned(filepath.Join(t.TempDir(), "tls"))
	require.NoError(t, err)
	assert.NotEqual(t, Fingerprint(first), Fingerprint(other))

	for _, name := range []string{"certificate.pem", "key.pem"} {
		info, err := os.Stat(filepath.Join(dir, name))
		require.NoError(t, err)
		assert.Zero(t, info.Mode().Perm()&0o077, "%s belongs to the owner alone", name)
	}
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, entries, 2)

	roots := x509.NewCertPool()
	roots.AddCert(first.Leaf)
	for _, name := range []string{"localhost", "127.0.0.1", "::1"} {
		_, err = first.Leaf.Verify(x509.VerifyOptions{DNSName: name, Roots: roots})
		assert.NoError(t, err, name)
	}
}

// A process that died between the two files left a key without a certificate.
func TestAKeyWithoutACertificateIsMadeAgain(t *testing.T) {
	dir := t.TempDir()
	_, err := SelfSigned(dir)
	require.NoError(t, err)
	require.NoError(t, os.Remove(filepath.Join(dir, "certificate.pem")))
	_, err = SelfSigned(dir)
	require.NoError(t, err)
}

func TestFilesThatDoNotFitAreRefused(t *testing.T) {
	a, b := t.TempDir(), t.TempDir()
	for _, dir := range []string{a, b} {
		_, err := SelfSigned(dir)
		require.NoError(t, err)
	}
	_, err := Load(filepath.Join(a, "certificate.pem"), filepath.Join(b, "key.pem"))
	assert.ErrorContains(t, err, "read the TLS certificate")
	_, err = Load(filepath.Join(a, "nothing.pem"), filepath.Join(b, "key.pem"))
	assert.Error(t, err)
}
