// Package certtest makes certificates for a test, in files of its own.
package certtest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// Authority signs certificates.
type Authority struct {
	File string         // its own certificate, in PEM
	Pool *x509.CertPool // that one alone

	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
}

// NewAuthority makes an authority.
func NewAuthority(t testing.TB) *Authority {
	t.Helper()
	a := &Authority{certificate: template(), Pool: x509.NewCertPool()}
	a.certificate.IsCA, a.certificate.BasicConstraintsValid, a.certificate.KeyUsage = true, true, x509.KeyUsageCertSign
	var der []byte
	der, a.key = sign(t, a.certificate, a.certificate, nil)
	var err error
	if a.certificate, err = x509.ParseCertificate(der); err != nil {
		t.Fatal(err)
	}
	a.Pool.AddCert(a.certificate)
	a.File = filepath.Join(t.TempDir(), "authority.pem")
	write(t, a.File, "CERTIFICATE", der)
	return a
}

// Pair is a certificate and its key.
type Pair struct {
	CertFile, KeyFile string
	Certificate       tls.Certificate
}

// Issue makes a certificate for loopback that may serve and call.
func (a *Authority) Issue(t testing.TB) Pair {
	t.Helper()
	dir := t.TempDir()
	p := Pair{CertFile: filepath.Join(dir, "cert.pem"), KeyFile: filepath.Join(dir, "key.pem")}
	c := template()
	c.IPAddresses = []net.IP{net.IPv4(127, 0, 0, 1)}
	c.KeyUsage, c.ExtKeyUsage = x509.KeyUsageDigitalSignature, []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth}
	der, key := sign(t, c, a.certificate, a.key)
	encoded, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	write(t, p.CertFile, "CERTIFICATE", der)
	write(t, p.KeyFile, "PRIVATE KEY", encoded)
	if p.Certificate, err = tls.LoadX509KeyPair(p.CertFile, p.KeyFile); err != nil {
		t.Fatal(err)
	}
	return p
}

func template() *x509.Certificate {
	serial, _ := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120)) // it never fails
	return &x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: "test " + serial.String()},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
	}
}

// sign makes a key and a certificate of it; without a key of the parent's it
// signs itself.
func sign(t testing.TB, c, parent *x509.Certificate, by *ecdsa.PrivateKey) ([]byte, *ecdsa.PrivateKey) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	if by == nil {
		by = key
	}
	der, err := x509.CreateCertificate(rand.Reader, c, parent, &key.PublicKey, by)
	if err != nil {
		t.Fatal(err)
	}
	return der, key
}

func write(t testing.TB, path, kind string, der []byte) {
	t.Helper()
	if err := os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
}
