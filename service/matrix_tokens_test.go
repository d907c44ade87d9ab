package service_test

import (
	"crypto/rand"
	"crypto/rsa"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"maps"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/coreos/go-oidc/v3/oidc/oidctest"
	"github.com/go-jose/go-jose/v4"
	"google.golang.org/grpc/codes"

	"example.com/steelyard/service"
	"example.com/steelyard/service/access"
)

// provider is an identity provider on loopback. What it signs opens tenant-a.
type provider struct {
	url     string
	key     *rsa.PrivateKey
	expires int64
}

// claims are those of a token that differ from a right one's; nil takes one out.
type claims map[string]any

func newProvider(t *testing.T) *provider {
	t.Helper()
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	keys := &oidctest.Server{PublicKeys: []oidctest.PublicKey{{PublicKey: key.Public(), KeyID: "k1", Algorithm: "RS256"}}}
	server := httptest.NewServer(keys)
	t.Cleanup(server.Close)
	keys.SetIssuer(server.URL)
	return &provider{server.URL, key, time.Now().Add(time.Hour).Unix()}
}

// configure makes a service take the provider's tokens.
func (p *provider) configure(c *service.Config) {
	c.OIDCIssuer, c.OIDCAudience = p.url, "steelyard-test"
	c.OIDCTenantClaim, c.OIDCScopeClaim, c.OIDCTraineeClaim = "tenant", "scope", "trainee"
}

// payload spells the claims of a right token with changes.
func (p *provider) payload(t *testing.T, changes claims) string {
	t.Helper()
	all := claims{"iss": p.url, "aud": "steelyard-test", "sub": "coach-7", "tenant": "tenant-a", "scope": strings.Join(access.ScopeNames(), " "), "exp": p.expires}
	maps.Copy(all, changes)
	maps.DeleteFunc(all, func(_ string, v any) bool { return v == nil })
	b, err := json.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// bearer is the header with a signed token.
func (p *provider) bearer(t *testing.T, changes claims) string {
	t.Helper()
	return "Bearer " + oidctest.SignIDToken(p.key, "k1", "RS256", p.payload(t, changes))
}

// badTokens are the credentials of the provider, and of who pretends to be it, that
// must not open what belongs to the trainee of mine.
func badTokens(t *testing.T, p *provider) []credential {
	t.Helper()
	unknown := func(name, header string) credential {
		return credential{name: "token, " + name, header: always(header), want: codes.Unauthenticated, ofAll: codes.Unauthenticated}
	}
	right := p.bearer(t, nil)
	parts := strings.Split(right, ".")
	encoded := base64.RawURLEncoding.EncodeToString
	another, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	lacking := map[string]string{}
	for _, scope := range access.ScopeNames() {
		lacking[scope] = p.bearer(t, claims{"scope": strings.Join(allScopesBut(scope), " ")})
	}
	return []credential{
		unknown("for another service", p.bearer(t, claims{"aud": "another"})),
		unknown("for no service", p.bearer(t, claims{"aud": nil})),
		unknown("of another issuer", p.bearer(t, claims{"iss": p.url + "/other"})),
		unknown("expired", p.bearer(t, claims{"exp": time.Now().Add(-time.Hour).Unix()})),
		unknown("that never expires", p.bearer(t, claims{"exp": nil})),
		unknown("not valid yet", p.bearer(t, claims{"nbf": p.expires})),
		unknown("of no tenant", p.bearer(t, claims{"tenant": nil})),
		unknown("of a tenant in capitals", p.bearer(t, claims{"tenant": "TENANT-A"})),
		unknown("of a tenant with more after it", p.bearer(t, claims{"tenant": "tenant-a/x"})),
		unknown("of two tenants", p.bearer(t, claims{"tenant": []string{"tenant-a", "tenant-b"}})),
		unknown("without an algorithm", "Bearer "+encoded([]byte(`{"alg":"none"}`))+"."+encoded([]byte(p.payload(t, nil)))+"."),
		unknown("HS256 with the public key", "Bearer "+p.hmac(t)),
		unknown("signed with another key", "Bearer "+oidctest.SignIDToken(another, "k1", "RS256", p.payload(t, nil))),
		unknown("with the payload of another", parts[0]+"."+encoded([]byte(p.payload(t, claims{"sub": "owner"})))+"."+parts[2]),
		{name: "token, of another tenant", header: always(p.bearer(t, claims{"tenant": "tenant-b"})), foreign: true},
		{name: "token, of a tenant that has nothing", header: always(p.bearer(t, claims{"tenant": "tenant-z"})), foreign: true},
		{name: "token, bound to another trainee", header: always(p.bearer(t, claims{"trainee": otherOfMine})), want: codes.NotFound, ofAll: codes.PermissionDenied, bound: true},
		{name: "token, lacks the scope", header: func(scope string) string { return lacking[scope] }, want: codes.PermissionDenied, ofAll: codes.PermissionDenied},
	}
}

// hmac is a token whose secret is the public key, which everybody knows.
func (p *provider) hmac(t *testing.T) string {
	t.Helper()
	der, err := x509.MarshalPKIXPublicKey(p.key.Public())
	if err != nil {
		t.Fatal(err)
	}
	secret := pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der})
	signer, err := jose.NewSigner(jose.SigningKey{Algorithm: jose.HS256, Key: jose.JSONWebKey{Key: secret, KeyID: "k1"}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	token, err := signer.Sign([]byte(p.payload(t, nil)))
	if err != nil {
		t.Fatal(err)
	}
	text, err := token.CompactSerialize()
	if err != nil {
		t.Fatal(err)
	}
	return text
}
