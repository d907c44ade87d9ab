package client

import (
	"context"
	"crypto/tls"
	"net"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"example.com/steelyard/service/certtest"
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

func call(t *testing.T, address string, how TLS) error {
	t.Helper()
	conf, err := how.Config()
	if err != nil {
		t.Fatal(err)
	}
	conn, err := Dial(address, "the-key", conf)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	_, err = grpc_health_v1.NewHealthClient(conn).Check(context.Background(), &grpc_health_v1.HealthCheckRequest{})
	return err
}

func shows(p certtest.Pair) grpc.ServerOption {
	return grpc.Creds(credentials.NewServerTLSFromCert(&p.Certificate))
}

func TestTheKeyGoesWithEveryCall(t *testing.T) {
	authority, others := certtest.NewAuthority(t), certtest.NewAuthority(t)
	t.Setenv("SSL_CERT_FILE", authority.File) // the system's roots, read once in a process

	plain, told := serve(t)
	if err := call(t, plain, TLS{}); err != nil {
		t.Fatal(err)
	}
	if got := <-told; len(got) != 1 || got[0] != "Bearer the-key" {
		t.Errorf("got %q", got)
	}
	secure, told := serve(t, shows(authority.Issue(t)))
	foreign, toldElsewhere := serve(t, shows(others.Issue(t)))
	must := func(what, address string, how TLS, told chan []string) {
		t.Helper()
		if err := call(t, address, how); err != nil {
			t.Errorf("%s: %v", what, err)
			return
		}
		if got := <-told; len(got) != 1 || got[0] != "Bearer the-key" {
			t.Errorf("%s: got %q", what, got)
		}
	}
	must("the system's authorities", secure, TLS{On: true}, told)
	must("an authority of our own", foreign, TLS{CA: others.File}, toldElsewhere)
	pair := authority.Issue(t)
	must("a certificate shown to who asks for none", secure, TLS{Cert: pair.CertFile, Key: pair.KeyFile}, told)
	asking, toldAsking := serve(t, grpc.Creds(credentials.NewTLS(&tls.Config{
		Certificates: []tls.Certificate{others.Issue(t).Certificate}, ClientAuth: tls.RequireAndVerifyClientCert, ClientCAs: authority.Pool,
	})))
	must("a certificate shown to who asks", asking, TLS{CA: others.File, Cert: pair.CertFile, Key: pair.KeyFile}, toldAsking)

	// The key goes to nobody who cannot show a certificate that we know.
	for what, c := range map[string]struct {
		address string
		how     TLS
	}{
		"a stranger":                   {foreign, TLS{On: true}},
		"one that the system knows":    {secure, TLS{CA: others.File}},
		"a server without TLS":         {plain, TLS{On: true}},
		"a server without TLS, by CA":  {plain, TLS{CA: others.File}},
		"who asks for our certificate": {asking, TLS{CA: others.File}},
	} {
		if err := call(t, c.address, c.how); status.Code(err) != codes.Unavailable {
			t.Errorf("%s: got %v", what, err)
		}
	}
	if len(told)+len(toldElsewhere)+len(toldAsking) != 0 {
		t.Error("somebody has the key")
	}
}

func TestTLS_NamesTheFlag(t *testing.T) {
	authority := certtest.NewAuthority(t)
	pair, other := authority.Issue(t), authority.Issue(t)
	for want, how := range map[string]TLS{
		"--ca: open ":                      {CA: pair.CertFile + "x"},
		"--ca: the file":                   {CA: pair.KeyFile},
		"--client-cert and --client-key: ": {Cert: pair.CertFile, Key: other.KeyFile},
	} {
		if conf, err := how.Config(); err == nil || !strings.HasPrefix(err.Error(), want) || conf != nil {
			t.Errorf("%v, want %s", err, want)
		}
	}
	for _, how := range []TLS{{Cert: pair.CertFile}, {Key: pair.KeyFile}} {
		if _, err := how.Config(); err == nil {
			t.Errorf("half of a pair is taken: %+v", how)
		}
	}
}
