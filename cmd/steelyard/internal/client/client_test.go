package client

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
)

// echo answers with the authorization that came.
type echo struct {
	grpc_health_v1.UnimplementedHealthServer
	got chan []string
}

func (e echo) Check(ctx context.Context, _ *grpc_health_v1.HealthCheckRequest) (*grpc_health_v1.HealthCheckResponse, error) {
	md, _ := metadata.FromIncomingContext(ctx)
	e.got <- md.Get("authorization")
	return &grpc_health_v1.HealthCheckResponse{}, nil
}

// serve starts a server and returns its address and what it is told.
func serve(t *testing.T, opts ...grpc.ServerOption) (string, chan []string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	e := echo{got: make(chan []string, 1)}
	s := grpc.NewServer(opts...)
	grpc_health_v1.RegisterHealthServer(s, e)
	go func() { _ = s.Serve(l) }()
	t.Cleanup(s.Stop)
	return l.Addr().String(), e.got
}

// certificate makes one for loopback that signs itself.
func certificate(t *testing.T) (tls.Certificate, []byte) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotAfter: time.Now().Add(time.Hour), IsCA: true, BasicConstraintsValid: true,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
	}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
}

func call(t *testing.T, address string, useTLS bool) error {
	t.Helper()
	conn, err := Dial(address, "the-key", useTLS)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	_, err = grpc_health_v1.NewHealthClient(conn).Check(context.Background(), &grpc_health_v1.HealthCheckRequest{})
	return err
}

func TestTheKeyGoesWithEveryCall(t *testing.T) {
	trusted, file := certificate(t)
	path := filepath.Join(t.TempDir(), "roots.pem")
	if err := os.WriteFile(path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("SSL_CERT_FILE", path) // the system's roots, read once in a process
	unknown, _ := certificate(t)

	plain, told := serve(t)
	if err := call(t, plain, false); err != nil {
		t.Fatal(err)
	}
	if got := <-told; len(got) != 1 || got[0] != "Bearer the-key" {
		t.Errorf("got %q", got)
	}
	secure, told := serve(t, grpc.Creds(credentials.NewServerTLSFromCert(&trusted)))
	if err := call(t, secure, true); err != nil {
		t.Fatal(err)
	}
	if got := <-told; len(got) != 1 || got[0] != "Bearer the-key" {
		t.Errorf("over TLS: got %q", got)
	}

	// The key goes to nobody who cannot show a certificate that the roots know.
	stranger, told := serve(t, grpc.Creds(credentials.NewServerTLSFromCert(&unknown)))
	for what, address := range map[string]string{"a stranger": stranger, "a server without TLS": plain} {
		if err := call(t, address, true); status.Code(err) != codes.Unavailable {
			t.Errorf("%s: got %v", what, err)
		}
	}
	if len(told) != 0 {
		t.Error("the stranger has the key")
	}
}
