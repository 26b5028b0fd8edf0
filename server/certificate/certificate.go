// Package certificate gets a server's TLS certificate: one that was given and may be renewed
// while the server runs, or one that the server makes for itself and keeps, which clients know
// by its fingerprint.
//
//	cert, err := certificate.SelfSigned(dir)
//	fmt.Println(certificate.Fingerprint(cert))
package certificate

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"time"
)

// Load reads a certificate, with those that lead to it, and its key from PEM files.
func Load(certFile, keyFile string) (tls.Certificate, error) {
	cert, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		return cert, fmt.Errorf("read the TLS certificate: %w", err)
	}
	return cert, nil
}

// life of a certificate that is made. Whoever knows its fingerprint does not look at it.
const life = 10 * 365 * 24 * time.Hour

// SelfSigned reads the certificate that is kept in a directory, or makes it the first
// time. Both files belong to the owner alone.
func SelfSigned(dir string) (tls.Certificate, error) {
	certFile, keyFile := filepath.Join(dir, "certificate.pem"), filepath.Join(dir, "key.pem")
	if _, err := os.Stat(certFile); errors.Is(err, fs.ErrNotExist) {
		if err := produce(dir, certFile, keyFile); err != nil {
			return tls.Certificate{}, fmt.Errorf("make a TLS certificate: %w", err)
		}
	}
	return Load(certFile, keyFile)
}

func produce(dir, certFile, keyFile string) error {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	if err != nil {
		return err
	}
	template := &x509.Certificate{
		SerialNumber: serial,
		Subject:      pkix.Name{CommonName: "turnwright"},
		NotBefore:    time.Now().Add(-time.Hour), // for clients whose clocks are late
		NotAfter:     time.Now().Add(life),
		KeyUsage:     x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
		ExtKeyUsage:  []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		// It is its own authority, so that clients can also be given the file.
		BasicConstraintsValid: true,
		IsCA:                  true,
		DNSNames:              []string{"localhost"},
		IPAddresses:           []net.IP{net.IPv4(127, 0, 0, 1), net.IPv6loopback},
	}
	if host, err := os.Hostname(); err == nil && host != "localhost" {
		template.DNSNames = append(template.DNSNames, host)
	}
	signed, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		return err
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	// The certificate goes last: while it is missing, both are made again.
	if err := write(keyFile, "PRIVATE KEY", private); err != nil {
		return err
	}
	return write(certFile, "CERTIFICATE", signed)
}

func write(path, kind string, data []byte) error {
	temporary := path + ".new"
	f, err := os.OpenFile(temporary, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	err = errors.Join(pem.Encode(f, &pem.Block{Type: kind, Bytes: data}), f.Sync(), f.Close())
	if err != nil {
		return err
	}
	return os.Rename(temporary, path)
}

// Fingerprint is the SHA-256 of the certificate, in hexadecimal digits.
func Fingerprint(cert tls.Certificate) string {
	sum := sha256.Sum256(cert.Certificate[0])
	return hex.EncodeToString(sum[:])
}
