package access

import (
	"bytes"
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"encoding/json"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
)

// issuer is an OpenID Connect provider on loopback.
type issuer struct {
	t      testing.TB
	server *httptest.Server

	mu     sync.Mutex
	public []any // as the key set lists them: keys, or what is no key
	asked  int   // for the keys
	made   int   // tokens made
	answer func(w http.ResponseWriter, path string) bool
}

func newIssuer(t testing.TB, public ...any) *issuer {
	t.Helper()
	i := &issuer{t: t, public: public}
	i.server = httptest.NewServer(i)
	t.Cleanup(i.server.Close)
	return i
}

// ServeHTTP implements http.Handler.
func (i *issuer) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	i.mu.Lock()
	defer i.mu.Unlock()
	if i.answer != nil && i.answer(w, r.URL.Path) {
		return
	}
	switch r.URL.Path {
	case "/.well-known/openid-configuration":
		_ = json.NewEncoder(w).Encode(map[string]any{"issuer": i.server.URL, "jwks_uri": i.server.URL + "/keys"})
	case "/keys":
		i.asked++
		_ = json.NewEncoder(w).Encode(map[string]any{"keys": i.public})
	default:
		http.NotFound(w, r)
	}
}

// does sets what the issuer lists and how it answers.
func (i *issuer) does(answer func(http.ResponseWriter, string) bool, public ...any) {
	i.mu.Lock()
	defer i.mu.Unlock()
	i.answer = answer
	if public != nil {
		i.public = public
	}
}

func (i *issuer) timesAsked() int {
	i.mu.Lock()
	defer i.mu.Unlock()
	return i.asked
}

// away is an issuer that fails.
func away(w http.ResponseWriter, _ string) bool {
	w.WriteHeader(http.StatusBadGateway)
	return true
}

// signingKey is a key pair with an id and an algorithm.
type signingKey struct {
	id      string
	alg     jose.SignatureAlgorithm
	private crypto.Signer
}

func (k signingKey) public() jose.JSONWebKey {
	return jose.JSONWebKey{Key: k.private.Public(), KeyID: k.id, Algorithm: string(k.alg), Use: "sig"}
}

func newKey(t testing.TB, id string, alg jose.SignatureAlgorithm) signingKey {
	t.Helper()
	var private crypto.Signer
	var err error
	switch alg {
	case jose.ES256, jose.ES384:
		private, err = ecdsa.GenerateKey(map[jose.SignatureAlgorithm]elliptic.Curve{jose.ES256: elliptic.P256(), jose.ES384: elliptic.P384()}[alg], rand.Reader)
	case jose.EdDSA:
		_, private, err = ed25519.GenerateKey(rand.Reader)
	default:
		private, err = rsa.GenerateKey(rand.Reader, 2048)
	}
	if err != nil {
		t.Fatal(err)
	}
	return signingKey{id, alg, private}
}

// signed makes a token.
func signed(t testing.TB, alg jose.SignatureAlgorithm, id string, key, claims any) string {
	t.Helper()
	payload, err := json.Marshal(claims)
	if err != nil {
		t.Fatal(err)
	}
	options := (&jose.SignerOptions{}).WithType("JWT")
	if id != "" {
		options = options.WithHeader("kid", id)
	}
	s, err := jose.NewSigner(jose.SigningKey{Algorithm: alg, Key: key}, options)
	if err != nil {
		t.Fatal(err)
	}
	token, err := s.Sign(payload)
	if err != nil {
		t.Fatal(err)
	}
	text, err := token.CompactSerialize()
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func (k signingKey) token(t testing.TB, claims any) string {
	t.Helper()
	return signed(t, k.alg, k.id, k.private, claims)
}

// clock is a time that a test moves.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *clock) read() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) move(by time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(by)
}

// audience is what the service under test is called.
const audience = "steelyard"

type tokens struct {
	*OIDC
	*issuer
	clock *clock
	log   *lockedLog
}

// lockedLog is what was logged.
type lockedLog struct {
	mu sync.Mutex
	b  bytes.Buffer
}

// Write implements io.Writer.
func (l *lockedLog) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedLog) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// opener returns an opener of an issuer's tokens that stands at issuedAt.
func opener(t testing.TB, i *issuer) *tokens {
	t.Helper()
	x := &tokens{issuer: i, clock: &clock{now: issuedAt}, log: &lockedLog{}}
	var err error
	x.OIDC, err = NewOIDC(OIDCOptions{
		Issuer: i.server.URL, Audience: audience, TenantClaim: "tenant", ScopeClaim: "scope", TraineeClaim: "trainee",
		Now: x.clock.read, Log: slog.New(slog.NewTextHandler(x.log, nil)),
	})
	if err != nil {
		t.Fatal(err)
	}
	return x
}

type claims map[string]any

// good are the claims of a token that opens for an hour, with changes; nil takes
// a claim out.
func (i *issuer) good(changes claims) claims {
	out := claims{
		"iss": i.server.URL, "aud": audience, "sub": "coach 7/a", "tenant": "gym-1", "scope": "log.read openid trend.read",
		"exp": issuedAt.Add(time.Hour).Unix(), "iat": issuedAt.Unix(),
	}
	for name, value := range changes {
		if out[name] = value; value == nil {
			delete(out, name)
		}
	}
	return out
}
