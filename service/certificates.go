package service

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"
)

// lookAgain is how old the certificates may be before a handshake looks whether
// their files have changed.
const lookAgain = 5 * time.Second

// certificates is what TLS is served with. Renewed files are taken up by
// themselves; while they make no sense, as between the renewal of one and of the
// other, what was read before goes on.
type certificates struct {
	paths [3]string // certificate, key, authorities of callers; the last may be empty
	every time.Duration
	log   *slog.Logger

	mu      sync.Mutex
	looked  time.Time
	trouble string    // what was wrong at the last look
	files   [3][]byte // as last read well
	present material  // made of them
}

type material struct {
	pair    tls.Certificate
	callers *x509.CertPool // nil: callers show no certificate
}

// openCertificates reads the files that cfg names; nil without TLS.
func openCertificates(cfg Config, log *slog.Logger) (*certificates, error) {
	if cfg.TLSCert == "" {
		return nil, nil
	}
	c := &certificates{paths: [3]string{cfg.TLSCert, cfg.TLSKey, cfg.TLSClientCA}, every: lookAgain, log: log, looked: time.Now()}
	if err := c.read(); err != nil {
		return nil, err
	}
	return c, nil
}

// forCallers is how TLS is spoken with callers, who show a certificate of their
// own where that is asked for.
func (c *certificates) forCallers(protocols ...string) *tls.Config {
	return c.config(func(present material, conf *tls.Config) {
		if present.callers == nil {
			return
		}
		conf.ClientAuth, conf.ClientCAs = tls.RequireAndVerifyClientCert, present.callers
		conf.SessionTicketsDisabled = true // each handshake is held to the authorities of now
	}, protocols)
}

// forOperators is how TLS is spoken with probes and monitoring, which have no
// certificates of their own.
func (c *certificates) forOperators(protocols ...string) *tls.Config {
	return c.config(func(material, *tls.Config) {}, protocols)
}

func (c *certificates) config(demand func(material, *tls.Config), protocols []string) *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS12, GetConfigForClient: func(*tls.ClientHelloInfo) (*tls.Config, error) {
		present := c.now()
		conf := &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{present.pair}, NextProtos: protocols}
		demand(present, conf)
		return conf, nil
	}}
}

// now returns what to serve with, after a look at the files if the last one is
// long ago.
func (c *certificates) now() material {
	c.mu.Lock()
	defer c.mu.Unlock()
	if time.Since(c.looked) < c.every {
		return c.present
	}
	c.looked = time.Now()
	trouble := ""
	if err := c.read(); err != nil {
		trouble = err.Error()
	}
	if trouble != "" && trouble != c.trouble { // told once, not at each look
		c.log.Error("TLS files make no sense; those read before stay in use", "cause", trouble, "valid_until", c.present.pair.Leaf.NotAfter)
	}
	c.trouble = trouble
	return c.present
}

// read takes the files up when they have changed. The caller holds the mutex.
func (c *certificates) read() error {
	var files [3][]byte
	for i, flag := range []string{"tls-cert", "tls-key", "tls-client-ca"} {
		if c.paths[i] == "" {
			continue
		}
		var err error
		if files[i], err = os.ReadFile(c.paths[i]); err != nil {
			return fmt.Errorf("%s: %w", flag, err)
		}
	}
	same := true
	for i := range files {
		same = same && bytes.Equal(files[i], c.files[i])
	}
	if same && c.present.pair.Leaf != nil {
		return nil
	}
	pair, err := tls.X509KeyPair(files[0], files[1])
	if err != nil {
		return fmt.Errorf("tls-cert and tls-key: %w", err)
	}
	present := material{pair: pair}
	if c.paths[2] != "" {
		present.callers = x509.NewCertPool()
		if !present.callers.AppendCertsFromPEM(files[2]) {
			return errors.New("tls-client-ca: the file holds no certificate")
		}
	}
	c.files, c.present = files, present
	c.log.Info("TLS certificate in use", "valid_until", pair.Leaf.NotAfter)
	return nil
}
