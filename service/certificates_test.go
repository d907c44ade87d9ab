package service

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"log/slog"
	"net"
	"os"
	"strings"
	"testing"

	"example.com/steelyard/service/certtest"
)

// handshake dials, shows a certificate, and returns the one that it is shown.
func handshake(t *testing.T, address string, trusts *x509.CertPool, shows tls.Certificate) (*x509.Certificate, error) {
	t.Helper()
	conn, err := tls.Dial("tcp", address, &tls.Config{RootCAs: trusts, Certificates: []tls.Certificate{shows}})
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	if _, err := conn.Read(make([]byte, 1)); err != nil { // with TLS 1.3 a refusal comes after the handshake
		return nil, err
	}
	return conn.ConnectionState().PeerCertificates[0], nil
}

// greeting serves a byte to each caller.
func greeting(t *testing.T, c *certificates) (address string) {
	t.Helper()
	l, err := tls.Listen("tcp", "127.0.0.1:0", c.forCallers())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() })
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go func(conn net.Conn) {
				_, _ = conn.Write([]byte("!"))
				_ = conn.Close()
			}(conn)
		}
	}()
	return l.Addr().String()
}

// put copies a file over another one.
func put(t *testing.T, over, file string) {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(over, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestCertificates_RenewedFilesAreTakenUp one by one, as renewal writes them:
// between the two what was there before goes on.
func TestCertificates_RenewedFilesAreTakenUp(t *testing.T) {
	authority, callers := certtest.NewAuthority(t), certtest.NewAuthority(t)
	served, next, caller := authority.Issue(t), authority.Issue(t), callers.Issue(t)
	var log bytes.Buffer
	c, err := openCertificates(Config{TLSCert: served.CertFile, TLSKey: served.KeyFile, TLSClientCA: callers.File}, slog.New(slog.NewTextHandler(&log, nil)))
	if err != nil {
		t.Fatal(err)
	}
	address := greeting(t, c)
	must := func(when string, want tls.Certificate) {
		t.Helper()
		got, err := handshake(t, address, authority.Pool, caller.Certificate)
		if err != nil || !got.Equal(want.Leaf) {
			t.Errorf("%s: another certificate, %v", when, err)
		}
	}
	must("at first", served.Certificate)
	put(t, served.CertFile, next.CertFile)
	put(t, served.KeyFile, next.KeyFile)
	must("before it is time to look", served.Certificate)
	put(t, served.KeyFile, caller.KeyFile)
	c.every = 0
	must("with half of the files", served.Certificate)
	must("and again", served.Certificate)
	if n := strings.Count(log.String(), "make no sense"); n != 1 {
		t.Errorf("told %d times: %s", n, log.String())
	}
	put(t, served.KeyFile, next.KeyFile)
	must("with both", next.Certificate)
	if err := os.Remove(served.CertFile); err != nil {
		t.Fatal(err)
	}
	must("with a file gone", next.Certificate)
	put(t, served.CertFile, next.CertFile)

	// The authorities are renewed as well: those of before open nothing any more.
	others := certtest.NewAuthority(t)
	put(t, callers.File, others.File)
	if _, err := handshake(t, address, authority.Pool, caller.Certificate); err == nil {
		t.Error("a caller of the authority that was replaced is let in")
	}
	caller = others.Issue(t)
	must("with the new authority", next.Certificate)
	if n := strings.Count(log.String(), "TLS certificate in use"); n != 3 {
		t.Errorf("taken up %d times, want 3: %s", n, log.String())
	}
}
