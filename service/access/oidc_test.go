package access

import (
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
)

func TestOIDC_RightTokenOpens(t *testing.T) {
	for _, alg := range []jose.SignatureAlgorithm{jose.RS256, jose.ES256, jose.PS256, jose.EdDSA} {
		key := newKey(t, "k1", alg)
		x := opener(t, newIssuer(t, key.public()))
		for name, change := range map[string]claims{
			"scopes in words":      nil,
			"scopes in a list":     {"scope": []string{"log.read", "profile", "trend.read"}},
			"audience in a list":   {"aud": []string{"other", audience}},
			"valid from now":       {"nbf": issuedAt.Unix()},
			"valid within leeway":  {"nbf": issuedAt.Add(leeway).Unix()},
			"ended within leeway":  {"exp": issuedAt.Add(1-leeway).Unix() + 1},
			"fractions of seconds": {"nbf": float64(issuedAt.Unix()) - 0.5},
		} {
			p, err := x.Open(t.Context(), key.token(t, x.good(change)))
			if err != nil || p.Tenant != "gym-1" || p.Trainee != "" || !slices.Equal(p.Scopes, []string{"log.read", "trend.read"}) || p.Actor != "subjects/coach%207%2Fa" {
				t.Errorf("%s, %s: %+v, %v", alg, name, p, err)
			}
			if !strings.HasPrefix(p.KeyID, "oidc:") || strings.Contains(p.KeyID, "coach") {
				t.Errorf("counted by %q", p.KeyID)
			}
		}
		bound, err := x.Open(t.Context(), key.token(t, x.good(claims{"trainee": "t-1", "scope": nil})))
		if err != nil || bound.Trainee != "t-1" || len(bound.Scopes) != 0 {
			t.Errorf("%s, bound, without scopes: %+v, %v", alg, bound, err)
		}
	}
}

// TestOIDC_SubjectsAreToldApart: each is counted and recorded on its own.
func TestOIDC_SubjectsAreToldApart(t *testing.T) {
	key := newKey(t, "k1", jose.EdDSA)
	x := opener(t, newIssuer(t, key.public()))
	seen := map[string]bool{}
	for _, sub := range []string{"a", "b", "a/b", "a%2Fb", "A", "ä", strings.Repeat("s", 255)} {
		p, err := x.Open(t.Context(), key.token(t, x.good(claims{"sub": sub})))
		if err != nil || seen[p.KeyID] || seen[p.Actor] || strings.Count(p.Actor, "/") != 1 {
			t.Errorf("%q: %+v, %v", sub, p, err)
		}
		seen[p.KeyID], seen[p.Actor] = true, true
	}
}

func TestOIDC_WrongTokenDoesNotOpen(t *testing.T) {
	key, other := newKey(t, "k1", jose.RS256), newKey(t, "k1", jose.RS256)
	ec := newKey(t, "k2", jose.ES256)
	x := opener(t, newIssuer(t, key.public(), ec.public()))
	unsigned := func(header string, c claims) string {
		payload, _ := json.Marshal(c)
		return base64.RawURLEncoding.EncodeToString([]byte(header)) + "." + base64.RawURLEncoding.EncodeToString(payload) + "."
	}
	der, err := x509.MarshalPKIXPublicKey(key.private.Public())
	if err != nil {
		t.Fatal(err)
	}
	inPEM := pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der})
	right := key.token(t, x.good(nil))
	parts := strings.Split(right, ".")
	payload, _ := json.Marshal(x.good(claims{"tenant": "gym-2"}))
	tampered := base64.RawURLEncoding.EncodeToString(payload)
	with := func(change claims) string { return key.token(t, x.good(change)) }
	long := func(n int) string { return strings.Repeat("x", n) }
	for name, token := range map[string]string{
		"another audience":            with(claims{"aud": "other"}),
		"no audience":                 with(claims{"aud": nil}),
		"another issuer":              with(claims{"iss": "https://id.example.com"}),
		"the issuer with a slash":     with(claims{"iss": x.server.URL + "/"}),
		"no issuer":                   with(claims{"iss": nil}),
		"expired":                     with(claims{"exp": issuedAt.Add(-leeway).Unix()}),
		"never expires":               with(claims{"exp": nil}),
		"not valid yet":               with(claims{"nbf": issuedAt.Add(leeway).Unix() + 1}),
		"valid from a word":           with(claims{"nbf": "soon"}),
		"no tenant":                   with(claims{"tenant": nil}),
		"null tenant":                 with(claims{"tenant": json.RawMessage("null")}),
		"tenant in capitals":          with(claims{"tenant": "Gym-1"}),
		"tenant with a line after it": with(claims{"tenant": "gym-1\n"}),
		"several tenants":             with(claims{"tenant": []string{"gym-1", "gym-2"}}),
		"no subject":                  with(claims{"sub": nil}),
		"a long subject":              with(claims{"sub": long(256)}),
		"bound to an empty trainee":   with(claims{"trainee": ""}),
		"bound to null":               with(claims{"trainee": json.RawMessage("null")}),
		"bound to several trainees":   with(claims{"trainee": []string{"t-1", "t-2"}}),
		"bound to a name":             with(claims{"trainee": "trainees/t-1"}),
		"scopes by number":            with(claims{"scope": 7}),
		"scopes in a map":             with(claims{"scope": map[string]bool{"log.read": true}}),
		"no algorithm":                unsigned(`{"alg":"none","kid":"k1"}`, x.good(nil)),
		"no algorithm, a signature":   unsigned(`{"alg":"none","kid":"k1"}`, x.good(nil)) + parts[2],
		"HS256 with the public key":   signed(t, jose.HS256, "k1", inPEM, x.good(nil)),
		"HS256 with the key in DER":   signed(t, jose.HS256, "k1", der, x.good(nil)),
		"RS512, which is not taken":   signed(t, jose.RS512, "k1", key.private, x.good(nil)),
		"another's key":               other.token(t, x.good(nil)),
		"PS256 with a key for RS256":  signed(t, jose.PS256, "k1", key.private, x.good(nil)),
		"another key's id":            signed(t, jose.RS256, "k2", key.private, x.good(nil)),
		"unknown key":                 signed(t, jose.RS256, "k9", key.private, x.good(nil)),
		"tampered payload":            parts[0] + "." + tampered + "." + parts[2],
		"no signature":                parts[0] + "." + parts[1] + ".",
		"cut":                         right[:len(right)-2],
		"one part more":               right + ".x",
		"encrypted":                   right + ".x.y",
		"JSON form":                   fmt.Sprintf(`{"payload":%q,"protected":%q,"signature":%q}`, parts[1], parts[0], parts[2]),
		"a key of its own inside": signedWith(t, other, x.good(nil), map[jose.HeaderKey]any{
			"jwk": other.public(), "jku": x.server.URL + "/keys", "x5u": x.server.URL + "/keys"}),
		"too long":   with(claims{"more": long(longestToken)}),
		"empty":      "",
		"dots":       "..",
		"NUL":        right + "\x00",
		"line after": right + "\n",
	} {
		x.keys.asked = time.Time{} // so that nothing is refused for want of asking
		if p, err := x.Open(t.Context(), token); !errors.Is(err, ErrUnauthenticated) || p.Tenant != "" || err.Error() != ErrUnauthenticated.Error() {
			t.Errorf("%s: %+v, %v", name, p, err)
		}
	}
	if _, err := x.Open(t.Context(), right); err != nil {
		t.Errorf("the right one: %v", err)
	}
	if text := x.log.String(); text != "" {
		t.Errorf("logged %s", text)
	}
}

// signedWith is a token with more in its header.
func signedWith(t *testing.T, k signingKey, c claims, header map[jose.HeaderKey]any) string {
	t.Helper()
	s, err := jose.NewSigner(jose.SigningKey{Algorithm: k.alg, Key: jose.JSONWebKey{Key: k.private, KeyID: k.id}}, &jose.SignerOptions{ExtraHeaders: header})
	if err != nil {
		t.Fatal(err)
	}
	payload, _ := json.Marshal(c)
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

// TestOIDC_RememberedNoLongerThanItIsValid: a token that was verified opens for
// half a minute without another look, and never past its end.
func TestOIDC_RememberedNoLongerThanItIsValid(t *testing.T) {
	key, next := newKey(t, "k1", jose.ES256), newKey(t, "k2", jose.ES256)
	x := opener(t, newIssuer(t, key.public()))
	long := key.token(t, x.good(nil))
	short := key.token(t, x.good(claims{"exp": issuedAt.Unix() + 5}))
	for _, token := range []string{long, short} {
		if _, err := x.Open(t.Context(), token); err != nil {
			t.Fatal(err)
		}
	}
	x.keys.keys = []jose.JSONWebKey{next.public()} // as if the key had been withdrawn
	x.clock.move(remembered - 1)
	for what, token := range map[string]string{"long": long, "short": short} {
		if _, err := x.Open(t.Context(), token); err != nil {
			t.Errorf("%s: %v", what, err)
		}
	}
	x.does(nil, next.public())
	x.clock.move(1)
	if _, err := x.Open(t.Context(), long); !errors.Is(err, ErrUnauthenticated) {
		t.Errorf("past what is remembered: %v", err)
	}

	y := opener(t, newIssuer(t, key.public()))
	short = key.token(t, y.good(claims{"exp": issuedAt.Unix() - int64(leeway/time.Second) + 5}))
	if _, err := y.Open(t.Context(), short); err != nil {
		t.Fatal(err)
	}
	y.clock.move(5 * time.Second)
	if _, err := y.Open(t.Context(), short); !errors.Is(err, ErrUnauthenticated) {
		t.Errorf("past its end: %v", err)
	}
}

// TestBearer_KeysAndTokensDoNotMix: what looks like a key is looked up as one and
// nothing else is, and without an issuer no token opens.
func TestBearer_KeysAndTokensDoNotMix(t *testing.T) {
	key := newKey(t, "k1", jose.EdDSA)
	x := opener(t, newIssuer(t, key.public()))
	a, s, apiKey := issued(t, nil)
	token := key.token(t, x.good(nil))
	if _, err := a.Bearer(t.Context(), "Bearer "+token); !errors.Is(err, ErrUnauthenticated) {
		t.Errorf("without an issuer: %v", err)
	}
	a.Tokens = x
	if p, err := a.Bearer(t.Context(), "Bearer "+token); err != nil || p.Actor != "subjects/coach%207%2Fa" || s.asked != 0 {
		t.Errorf("%+v, %v; the store was asked %d times", p, err, s.asked)
	}
	before := x.timesAsked()
	x.does(away)
	if p, err := a.Bearer(t.Context(), "Bearer "+apiKey); err != nil || !strings.HasPrefix(p.Actor, "apiKeys/") {
		t.Errorf("a key while the issuer is away: %+v, %v", p, err)
	}
	if _, err := a.Bearer(t.Context(), "Bearer "+apiKey[:len(apiKey)-1]); !errors.Is(err, ErrUnauthenticated) || x.timesAsked() != before {
		t.Errorf("a mistyped key: %v; the issuer was asked %d times", err, x.timesAsked()-before)
	}
}

func TestNewOIDC_NamesWhatIsWrong(t *testing.T) {
	for _, issuer := range []string{"", "id.example.com", "http://id.example.com", "http://localhost", "ftp://id.example.com", "https://", "https://u:p@id.example.com",
		"https://id.example.com?x=1", "https://id.example.com?", "https://id.example.com#x", "https://id example.com", "//id.example.com"} {
		if err := ValidateIssuer(issuer); err == nil || strings.Contains(err.Error(), "u:p") {
			t.Errorf("%q: %v", issuer, err)
		}
		if _, err := NewOIDC(OIDCOptions{Issuer: issuer, Audience: audience, TenantClaim: "t", ScopeClaim: "s"}); err == nil {
			t.Errorf("%q is taken", issuer)
		}
	}
	for _, issuer := range []string{"https://id.example.com", "https://id.example.com:8443/realms/x/", "http://127.0.0.1:8080", "http://[::1]/x"} {
		if err := ValidateIssuer(issuer); err != nil {
			t.Errorf("%q: %v", issuer, err)
		}
	}
	if _, err := NewOIDC(OIDCOptions{Issuer: "https://id.example.com", TenantClaim: "t", ScopeClaim: "s"}); err == nil {
		t.Error("without an audience")
	}
}
