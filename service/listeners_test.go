package service_test

import (
	"crypto/tls"
	"io"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/certtest"
)

// secured is a caller of a service over TLS.
type secured struct {
	*running
	conf *tls.Config
}

// over calls by gRPC; NotFound says that the call came through.
func (s secured) over() error {
	s.t.Helper()
	conn, err := grpc.NewClient(s.app.GRPCAddress(), grpc.WithTransportCredentials(credentials.NewTLS(s.conf.Clone())))
	if err != nil {
		s.t.Fatal(err)
	}
	defer conn.Close()
	_, err = pb.NewTraineeServiceClient(conn).GetTrainee(s.ctx(), &pb.GetTraineeRequest{Name: "trainees/none"})
	return err
}

// get asks by HTTP and returns the status, 0 when there is no answer.
func (s secured) get(address, path string) (int, error) {
	s.t.Helper()
	transport := &http.Transport{TLSClientConfig: s.conf.Clone(), DisableKeepAlives: true}
	req, err := http.NewRequestWithContext(s.t.Context(), "GET", "https://"+address+path, nil)
	if err != nil {
		s.t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+s.token)
	resp, err := (&http.Client{Transport: transport, Timeout: 20 * time.Second}).Do(req)
	if err != nil {
		return 0, err
	}
	defer resp.Body.Close()
	_, _ = io.Copy(io.Discard, resp.Body)
	return resp.StatusCode, nil
}

// mustOpen checks that calls come through on both ways in.
func (s secured) mustOpen(what string) {
	s.t.Helper()
	if err := s.over(); status.Code(err) != codes.NotFound {
		s.t.Errorf("%s, by gRPC: %v", what, err)
	}
	if code, err := s.get(s.app.HTTPAddress(), "/v1/trainees/none"); code != http.StatusNotFound {
		s.t.Errorf("%s, by JSON: %d, %v", what, code, err)
	}
}

// mustClose checks that there is no connection at all.
func (s secured) mustClose(what string) {
	s.t.Helper()
	if err := s.over(); status.Code(err) != codes.Unavailable {
		s.t.Errorf("%s, by gRPC: %v", what, err)
	}
	if code, err := s.get(s.app.HTTPAddress(), "/v1/trainees/none"); err == nil {
		s.t.Errorf("%s, by JSON: %d", what, code)
	}
}

func TestTLS_BothWaysIn(t *testing.T) {
	authority := certtest.NewAuthority(t)
	pair := authority.Issue(t)
	r := startWith(t, func(c *service.Config) { c.TLSCert, c.TLSKey = pair.CertFile, pair.KeyFile })
	s := secured{r, &tls.Config{RootCAs: authority.Pool}}
	s.mustOpen("TLS")
	s.conf.MaxVersion = tls.VersionTLS12
	s.mustOpen("TLS 1.2")
	s.conf.MinVersion, s.conf.MaxVersion = tls.VersionTLS10, tls.VersionTLS11
	s.mustClose("TLS 1.1")
	secured{r, &tls.Config{RootCAs: certtest.NewAuthority(t).Pool}}.mustClose("a caller that knows another authority")

	s.conf = &tls.Config{RootCAs: authority.Pool}
	if code, err := s.get(r.app.AdminAddress(), "/readyz"); code != http.StatusOK {
		t.Errorf("admin: %d, %v", code, err)
	}
	// In clear nobody is answered: no call, no probe, no metric.
	if _, err := r.trainees().GetTrainee(r.ctx(), &pb.GetTraineeRequest{Name: "trainees/none"}); status.Code(err) != codes.Unavailable {
		t.Errorf("gRPC in clear: %v", err)
	}
	for _, address := range []string{r.app.HTTPAddress(), r.app.AdminAddress()} {
		resp, err := http.Get("http://" + address + "/readyz")
		if err != nil {
			t.Error(err)
			continue
		}
		resp.Body.Close()
		if resp.StatusCode != http.StatusBadRequest {
			t.Errorf("HTTP in clear: %d", resp.StatusCode)
		}
	}
	for address, want := range map[string]string{r.app.GRPCAddress(): "h2", r.app.HTTPAddress(): "http/1.1"} {
		conn, err := tls.Dial("tcp", address, &tls.Config{RootCAs: authority.Pool, NextProtos: []string{"h2", "http/1.1"}})
		if err != nil {
			t.Fatal(err)
		}
		if state := conn.ConnectionState(); state.NegotiatedProtocol != want || state.Version != tls.VersionTLS13 {
			t.Errorf("%s speaks %q, TLS %x", address, state.NegotiatedProtocol, state.Version)
		}
		conn.Close()
	}
}

func TestTLS_CallersShowACertificate(t *testing.T) {
	servers, callers := certtest.NewAuthority(t), certtest.NewAuthority(t)
	pair := servers.Issue(t)
	r := startWith(t, func(c *service.Config) {
		c.TLSCert, c.TLSKey, c.TLSClientCA = pair.CertFile, pair.KeyFile, callers.File
	})
	showing := func(certificates ...tls.Certificate) secured {
		conf := &tls.Config{RootCAs: servers.Pool}
		if len(certificates) > 0 { // shown whichever authority the server names
			conf.GetClientCertificate = func(*tls.CertificateRequestInfo) (*tls.Certificate, error) { return &certificates[0], nil }
		}
		return secured{r, conf}
	}
	showing(callers.Issue(t).Certificate).mustOpen("the right one")
	showing().mustClose("none")
	showing(servers.Issue(t).Certificate).mustClose("one of another authority")
	// Probes and monitoring have none.
	if code, err := showing().get(r.app.AdminAddress(), "/readyz"); code != http.StatusOK {
		t.Errorf("admin: %d, %v", code, err)
	}
	// A certificate is no credential: the key is asked for as ever.
	r.token = "none"
	if err := showing(callers.Issue(t).Certificate).over(); status.Code(err) != codes.Unauthenticated {
		t.Errorf("a certificate without a key: %v", err)
	}
}

// TestTLS_FilesThatMakeNoSense are told by their flags, before anything is touched.
func TestTLS_FilesThatMakeNoSense(t *testing.T) {
	authority := certtest.NewAuthority(t)
	one, other := authority.Issue(t), authority.Issue(t)
	for want, cfg := range map[string]service.Config{
		"tls-cert: open ":         {TLSCert: one.CertFile + "x", TLSKey: one.KeyFile},
		"tls-key: open ":          {TLSCert: one.CertFile, TLSKey: one.KeyFile + "x"},
		"tls-cert and tls-key: ":  {TLSCert: one.CertFile, TLSKey: other.KeyFile},
		"tls-client-ca: open ":    {TLSCert: one.CertFile, TLSKey: one.KeyFile, TLSClientCA: one.CertFile + "x"},
		"tls-client-ca: the file": {TLSCert: one.CertFile, TLSKey: one.KeyFile, TLSClientCA: one.KeyFile},
	} {
		cfg.DataDir = t.TempDir()
		cfg.GRPCAddress, cfg.HTTPAddress, cfg.AdminAddress = "127.0.0.1:0", "127.0.0.1:0", "127.0.0.1:0"
		if _, err := service.New(t.Context(), cfg); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%v, want %s", err, want)
		}
		if left, err := os.ReadDir(cfg.DataDir); err != nil || len(left) != 0 {
			t.Errorf("%s: %v lies in the data folder, %v", want, left, err)
		}
	}
}

// TestListen_NothingInClearForOthers: whatever others may reach needs TLS, or a
// word of the operator.
func TestListen_NothingInClearForOthers(t *testing.T) {
	addresses := map[string]func(*service.Config) *string{
		"grpc-address":  func(c *service.Config) *string { return &c.GRPCAddress },
		"http-address":  func(c *service.Config) *string { return &c.HTTPAddress },
		"admin-address": func(c *service.Config) *string { return &c.AdminAddress },
	}
	for flag, of := range addresses {
		for address, public := range map[string]bool{
			":1": true, "0.0.0.0:1": true, "[::]:1": true, "192.0.2.1:1": true, "[2001:db8::1]:1": true, "[::ffff:192.0.2.1]:1": true,
			"example.com:1": true, "localhost:1": true, "127.0.0.1.example.com:1": true, "127.1:1": true, "[fe80::1%eth0]:1": true,
			"127.0.0.1:1": false, "127.8.9.1:1": false, "[::1]:1": false, "[::ffff:127.0.0.1]:1": false,
		} {
			cfg := service.Config{}.WithDefaults()
			*of(&cfg) = address
			err := cfg.Validate()
			if (err != nil) != public || public && (!strings.HasPrefix(err.Error(), flag+": ") || !strings.Contains(err.Error(), "--insecure-listen")) {
				t.Errorf("%s %s: %v", flag, address, err)
			}
			for _, settle := range []func(*service.Config){
				func(c *service.Config) { c.InsecureListen = true }, func(c *service.Config) { c.TLSCert, c.TLSKey = "c", "k" },
			} {
				settled := cfg
				if settle(&settled); settled.Validate() != nil {
					t.Errorf("%s %s: %v", flag, address, settled.Validate())
				}
			}
		}
	}
}

// TestTLS_TheKeyShowsNowhere: not in the log, not in an error.
func TestTLS_TheKeyShowsNowhere(t *testing.T) {
	authority := certtest.NewAuthority(t)
	pair := authority.Issue(t)
	r := startWith(t, func(c *service.Config) { c.TLSCert, c.TLSKey = pair.CertFile, pair.KeyFile })
	_, err := service.New(t.Context(), service.Config{DataDir: t.TempDir(), TLSCert: pair.KeyFile, TLSKey: pair.CertFile})
	if err == nil {
		t.Fatal("the key was taken for a certificate")
	}
	key, readErr := os.ReadFile(pair.KeyFile)
	if readErr != nil {
		t.Fatal(readErr)
	}
	text := r.log.String() + err.Error()
	if !strings.Contains(text, "TLS certificate in use") {
		t.Errorf("nothing is told of the certificate: %s", text)
	}
	for line := range strings.Lines(string(key)) {
		if strings.Contains(text, strings.TrimSpace(line)) {
			t.Errorf("shown: %s", text)
		}
	}
}
