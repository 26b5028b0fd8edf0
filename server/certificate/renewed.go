package certificate

import (
	"crypto/tls"
	"log/slog"
	"sync"
	"time"
)

// lookEvery is how long a certificate is used before its files are read again.
const lookEvery = 10 * time.Second

// Renewed gives the certificate for each handshake, as [tls.Config.GetCertificate] does: that
// one at first, and what its files hold when somebody renewed them. They are read again at
// most every ten seconds: they are small, and what they hold tells more than their times. While they can't
// be used, as one of them is still being written, it goes on with the one before.
func Renewed(cert tls.Certificate, certFile, keyFile string, log *slog.Logger) func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	var mu sync.Mutex
	current, read, said := &cert, time.Now(), ""
	return func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
		mu.Lock()
		defer mu.Unlock()
		if time.Since(read) < lookEvery {
			return current, nil
		}
		read = time.Now()
		next, err := Load(certFile, keyFile)
		switch {
		case err != nil && err.Error() != said: // once, not at every handshake
			said = err.Error()
			log.Error("the certificate can't be read again, the one before stays in use", "error", err)
		case err == nil && Fingerprint(next) != Fingerprint(*current):
			current, said = &next, ""
			log.Info("the certificate was renewed", "fingerprint", Fingerprint(next), "until", next.Leaf.NotAfter)
		case err == nil:
			said = ""
		}
		return current, nil
	}
}
