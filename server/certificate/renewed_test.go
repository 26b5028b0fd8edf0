package certificate

import (
	"bytes"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What was renewed is used within seconds; what can't be used is said once.
func TestARenewedCertificateIsUsed(t *testing.T) {
	at, renewed := t.TempDir(), t.TempDir()
	certFile, keyFile := filepath.Join(at, "certificate.pem"), filepath.Join(at, "key.pem")
	first, err := SelfSigned(at)
	require.NoError(t, err)
	second, err := SelfSigned(renewed)
	require.NoError(t, err)
	bring := func(name string) {
		data, err := os.ReadFile(filepath.Join(renewed, name))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(at, name), data, 0o600))
	}
	synctest.Test(t, func(t *testing.T) {
		var log bytes.Buffer
		get := Renewed(first, certFile, keyFile, slog.New(slog.NewTextHandler(&log, nil)))
		uses := func(want string) {
			t.Helper()
			got, err := get(nil)
			require.NoError(t, err)
			assert.Equal(t, want, Fingerprint(*got))
		}
		uses(Fingerprint(first))
		time.Sleep(lookEvery)
		uses(Fingerprint(first))
		assert.Empty(t, log.String(), "nothing is new")

		bring("certificate.pem") // the key is still that of the other
		for range 5 {
			time.Sleep(lookEvery)
			uses(Fingerprint(first))
		}
		assert.Equal(t, 1, strings.Count(log.String(), "the one before stays in use"), log.String())
		require.NoError(t, os.Remove(keyFile))
		time.Sleep(lookEvery)
		uses(Fingerprint(first))
		assert.Equal(t, 2, strings.Count(log.String(), "the one before stays in use"), "for another reason:\n%s", log.String())

		bring("key.pem")
		uses(Fingerprint(first)) // it was looked for just now
		time.Sleep(lookEvery)
		uses(Fingerprint(second))
		assert.Contains(t, log.String(), Fingerprint(second))
	})
}
