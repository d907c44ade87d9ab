// Package client opens connections to a Steelyard.
package client

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"os"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
)

// TLS is how a server is spoken to. The zero value is in the clear: for loopback,
// or behind something that encrypts.
type TLS struct {
	On        bool   // with the authorities of the system
	CA        string // PEM file of others, in their place; turns it on
	Cert, Key string // PEM files of a certificate to show, and of its key; they turn it on
}

// Config returns nil when TLS is off. The errors name the flag of a file that
// makes no sense.
func (t TLS) Config() (*tls.Config, error) {
	if t.CA == "" && t.Cert == "" && t.Key == "" && !t.On {
		return nil, nil
	}
	conf := &tls.Config{MinVersion: tls.VersionTLS12}
	if t.CA != "" {
		file, err := os.ReadFile(t.CA)
		if err != nil {
			return nil, fmt.Errorf("--ca: %w", err)
		}
		conf.RootCAs = x509.NewCertPool()
		if !conf.RootCAs.AppendCertsFromPEM(file) {
			return nil, errors.New("--ca: the file holds no certificate")
		}
	}
	if t.Cert != "" || t.Key != "" {
		pair, err := tls.LoadX509KeyPair(t.Cert, t.Key)
		if err != nil {
			return nil, fmt.Errorf("--client-cert and --client-key: %w", err)
		}
		conf.Certificates = []tls.Certificate{pair}
	}
	return conf, nil
}

// Dial prepares a connection that carries a key, or a token, with every call. It
// does not wait for the server. Without TLS, a nil conf, the key travels in the
// clear.
func Dial(address, key string, conf *tls.Config) (*grpc.ClientConn, error) {
	transport := insecure.NewCredentials()
	if conf != nil {
		transport = credentials.NewTLS(conf)
	}
	return grpc.NewClient(address,
		grpc.WithTransportCredentials(transport),
		grpc.WithPerRPCCredentials(bearer{key: key, tls: conf != nil}),
		// Soon back after a restart of the server, never at once from everywhere.
		grpc.WithConnectParams(grpc.ConnectParams{
			Backoff:           backoff.Config{BaseDelay: 100 * time.Millisecond, Multiplier: 1.6, Jitter: 0.2, MaxDelay: 2 * time.Second},
			MinConnectTimeout: 5 * time.Second,
		}),
	)
}

type bearer struct {
	key string
	tls bool
}

// GetRequestMetadata implements credentials.PerRPCCredentials.
func (b bearer) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + b.key}, nil
}

// RequireTransportSecurity implements credentials.PerRPCCredentials.
func (b bearer) RequireTransportSecurity() bool { return b.tls }
