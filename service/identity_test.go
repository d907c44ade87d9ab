package service_test

import (
	"crypto/ed25519"
	"crypto/rand"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/coreos/go-oidc/v3/oidc/oidctest"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
)

// TestOIDC_OverBothWays: a token opens what its claims say by gRPC and by JSON
// alike, beside API keys; a provider that is away at the start stops neither the
// start nor them.
func TestOIDC_OverBothWays(t *testing.T) {
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	provider := &oidctest.Server{PublicKeys: []oidctest.PublicKey{{PublicKey: public, KeyID: "k1", Algorithm: "EdDSA"}}}
	var up atomic.Bool
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !up.Load() {
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		provider.ServeHTTP(w, r)
	}))
	defer server.Close()
	provider.SetIssuer(server.URL)
	r := startWith(t, func(c *service.Config) {
		c.OIDCIssuer, c.OIDCAudience, c.OIDCTenantClaim, c.OIDCScopeClaim = server.URL, "steelyard-test", "gym", "scp"
	})
	token := func(audience, gym, scopes string) string {
		return oidctest.SignIDToken(private, "k1", "EdDSA", fmt.Sprintf(`{"iss":%q,"aud":%q,"sub":"coach-7","gym":%q,"scp":%q,"exp":%d}`,
			server.URL, audience, gym, scopes, time.Now().Add(time.Hour).Unix()))
	}
	must := func(what, token string, code codes.Code, http int) {
		t.Helper()
		_, err := r.trainees().GetTrainee(r.as(token), &pb.GetTraineeRequest{Name: "trainees/t1"})
		if status.Code(err) != code {
			t.Errorf("%s, by gRPC: %v", what, err)
		}
		if got := r.http(token, "GET", "/v1/trainees/t1", ""); got.status != http {
			t.Errorf("%s, by JSON: %d %s", what, got.status, got.body)
		}
	}
	r.trainee("t1") // of tenant-a
	right := token("steelyard-test", "tenant-a", "recommendation.read profile")
	must("a key while the provider is away", r.token, codes.OK, 200)
	must("a token while the provider is away", right, codes.Unavailable, 503)
	if got := r.http(right, "GET", "/v1/trainees/t1", ""); !strings.Contains(string(got.body), "IDENTITY_PROVIDER_UNAVAILABLE") || got.header.Get("Retry-After") == "" {
		t.Errorf("the reason is not told: %s", got.body)
	}

	up.Store(true)
	for deadline := time.Now().Add(30 * time.Second); r.http(right, "GET", "/v1/trainees/t1", "").status == 503; time.Sleep(100 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("the provider is back, and not asked")
		}
	}
	must("the right token", right, codes.OK, 200)
	must("of another tenant", token("steelyard-test", "tenant-b", "recommendation.read"), codes.NotFound, 404)
	must("for another service", token("another", "tenant-a", "recommendation.read"), codes.Unauthenticated, 401)
	must("without the scope", token("steelyard-test", "tenant-a", "profile"), codes.PermissionDenied, 403)
	must("tampered", right[:len(right)-4]+"AAAA", codes.Unauthenticated, 401)
	_, err = r.trainees().EraseTrainee(r.as(right), &pb.EraseTraineeRequest{Name: "trainees/t1"})
	if status.Code(err) != codes.PermissionDenied {
		t.Errorf("more than its scopes: %v", err)
	}
	if text := r.log.String(); strings.Contains(text, right) || strings.Contains(text, "coach-7") {
		t.Error("the token or its subject is in the log")
	}
}
