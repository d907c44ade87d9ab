// Package client opens connections to a Steelyard.
package client

import (
	"context"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
)

// Dial prepares a connection that carries a key with every call. It does not
// wait for the server. Without TLS the key travels in the clear: for loopback,
// or behind something that encrypts.
func Dial(address, key string, tls bool) (*grpc.ClientConn, error) {
	transport := insecure.NewCredentials()
	if tls {
		transport = credentials.NewTLS(nil)
	}
	return grpc.NewClient(address,
		grpc.WithTransportCredentials(transport),
		grpc.WithPerRPCCredentials(bearer{key: key, tls: tls}),
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
