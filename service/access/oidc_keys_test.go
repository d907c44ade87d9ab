package access

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
)

// opens checks what becomes of a token: nil is that it opens.
func (x *tokens) opens(when, token string, want error) {
	x.t.Helper()
	p, err := x.Open(x.t.Context(), token)
	if !errors.Is(err, want) || (err == nil) != (p.Tenant != "") {
		x.t.Errorf("%s: %+v, %v, want %v", when, p, err, want)
	}
}

// another is a token that was never seen, so that nothing is remembered of it.
func (x *tokens) another(k signingKey) string {
	x.mu.Lock()
	x.made++
	n := x.made
	x.mu.Unlock()
	return k.token(x.t, x.good(claims{"jti": fmt.Sprint(n), "exp": issuedAt.Add(100 * time.Hour).Unix()}))
}

func TestOIDC_TheIssuerChangesItsKey(t *testing.T) {
	first, second := newKey(t, "k1", jose.RS256), newKey(t, "k2", jose.ES256)
	x := opener(t, newIssuer(t, first.public()))
	x.opens("the first key", x.another(first), nil)
	x.does(nil, first.public(), second.public())
	x.opens("the second key, just after the issuer was asked", x.another(second), ErrUnauthenticated)
	x.clock.move(askAgain)
	x.opens("the second key", x.another(second), nil)
	x.opens("the first key as well", x.another(first), nil)

	// A key that is withdrawn is taken for a while, then no more.
	x.does(nil, second.public())
	x.clock.move(freshFor - 1)
	x.opens("the first key, withdrawn", x.another(first), nil)
	x.clock.move(1)
	x.opens("while the issuer is asked behind it", x.another(first), nil)
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(time.Millisecond) {
		if _, err := x.Open(t.Context(), x.another(first)); errors.Is(err, ErrUnauthenticated) {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("a key that was withdrawn is taken for ever")
		}
	}
	x.opens("the second key still", x.another(second), nil)
}

// TestOIDC_StrangersDoNotMakeUsAsk: whatever they send, the issuer is asked
// once in a while.
func TestOIDC_StrangersDoNotMakeUsAsk(t *testing.T) {
	key, stranger := newKey(t, "k1", jose.ES256), newKey(t, "k9", jose.ES256)
	wrong := newKey(t, "k1", jose.ES256)
	x := opener(t, newIssuer(t, key.public()))
	x.opens("at first", x.another(key), nil)
	x.clock.move(askAgain)
	for range 50 {
		x.opens("an unknown key", x.another(stranger), ErrUnauthenticated)
		x.opens("a wrong signature", x.another(wrong), ErrUnauthenticated)
	}
	if n := x.timesAsked(); n != 2 {
		t.Errorf("the issuer was asked %d times, want 2", n)
	}
	x.clock.move(askAgain)
	for range 50 {
		x.opens("a wrong signature", x.another(wrong), ErrUnauthenticated)
	}
	if n := x.timesAsked(); n != 2 {
		t.Errorf("asked for a signature that is wrong")
	}
}

func TestOIDC_TheFirstCallsAskOnce(t *testing.T) {
	key := newKey(t, "k1", jose.EdDSA)
	x := opener(t, newIssuer(t, key.public()))
	var all sync.WaitGroup
	for range 20 {
		token := x.another(key)
		all.Go(func() { x.opens("at once", token, nil) })
	}
	all.Wait()
	if n := x.timesAsked(); n != 1 {
		t.Errorf("asked %d times", n)
	}
}

// TestOIDC_AnIssuerThatIsAway: at the start nothing can be told of a token;
// later its keys last an hour.
func TestOIDC_AnIssuerThatIsAway(t *testing.T) {
	key, stranger := newKey(t, "k1", jose.ES256), newKey(t, "k9", jose.ES256)
	i := newIssuer(t, key.public())
	i.does(away)
	x := opener(t, i)
	x.opens("away at the start", x.another(key), ErrIssuerAway)
	x.opens("away at the start, no token at all", "x.y.z", ErrUnauthenticated)
	x.does(nil)
	x.opens("back, and not asked yet", x.another(key), ErrIssuerAway)
	x.clock.move(askAgain)
	x.opens("back", x.another(key), nil)

	x.does(away)
	x.clock.move(askAgain)
	x.opens("away, a known key", x.another(key), nil)
	x.opens("away, a key that may be new", x.another(stranger), ErrIssuerAway)
	x.opens("and again", x.another(stranger), ErrIssuerAway)
	x.clock.move(trustedFor - 2*askAgain)
	x.opens("away, almost for an hour", x.another(key), nil)
	x.clock.move(2 * askAgain)
	x.opens("away for too long", x.another(key), ErrIssuerAway)
	x.does(nil)
	x.clock.move(askAgain)
	x.opens("back again", x.another(key), nil)
	text := x.log.String()
	if strings.Count(text, "does not give its keys") != 2 || strings.Count(text, "gives its keys again") != 2 {
		t.Errorf("logged %s", text)
	}
}

// TestOIDC_AnIssuerThatHangs costs a call its own time at most.
func TestOIDC_AnIssuerThatHangs(t *testing.T) {
	key := newKey(t, "k1", jose.ES256)
	i := newIssuer(t, key.public())
	x := opener(t, i)
	x.keys.within = 200 * time.Millisecond
	i.mu.Lock() // it answers nothing
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	token := key.token(t, claims{"iss": i.server.URL, "exp": issuedAt.Unix() + 100})
	if _, err := x.Open(ctx, token); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("%v", err)
	}
	if _, err := x.Open(t.Context(), token); !errors.Is(err, ErrIssuerAway) {
		t.Errorf("%v", err)
	}
	i.mu.Unlock()
}

// TestOIDC_AnIssuerThatMisbehaves is as good as one that is away.
func TestOIDC_AnIssuerThatMisbehaves(t *testing.T) {
	key := newKey(t, "k1", jose.ES256)
	elsewhere := newIssuer(t, key.public())
	for name, answer := range map[string]func(i *issuer) func(http.ResponseWriter, string) bool{
		"another's description": func(*issuer) func(http.ResponseWriter, string) bool {
			return describing(elsewhere.server.URL, elsewhere.server.URL+"/keys")
		},
		"keys in clear elsewhere": func(i *issuer) func(http.ResponseWriter, string) bool {
			return describing(i.server.URL, strings.Replace(elsewhere.server.URL, "127.0.0.1", "localhost", 1)+"/keys")
		},
		"keys in a file": func(i *issuer) func(http.ResponseWriter, string) bool {
			return describing(i.server.URL, "file:///etc/passwd")
		},
		"no keys": func(i *issuer) func(http.ResponseWriter, string) bool { return describing(i.server.URL, "") },
		"sends us on": func(*issuer) func(http.ResponseWriter, string) bool {
			return func(w http.ResponseWriter, path string) bool {
				if path != "/keys" {
					return false
				}
				w.Header().Set("Location", elsewhere.server.URL+path)
				w.WriteHeader(http.StatusFound)
				return true
			}
		},
		"never ends": func(*issuer) func(http.ResponseWriter, string) bool {
			return func(w http.ResponseWriter, path string) bool {
				if path != "/keys" {
					return false
				}
				right, _ := json.Marshal(key.public())
				_, _ = fmt.Fprintf(w, `{"keys":[%s],"more":%q}`, right, strings.Repeat("x", 3*largestAnswer))
				return true
			}
		},
		"a page of its own": func(*issuer) func(http.ResponseWriter, string) bool {
			return func(w http.ResponseWriter, _ string) bool {
				w.WriteHeader(http.StatusInternalServerError)
				_, _ = w.Write([]byte(strings.Repeat("sorry ", 1000)))
				return true
			}
		},
		"nonsense": func(*issuer) func(http.ResponseWriter, string) bool {
			return func(w http.ResponseWriter, _ string) bool {
				_, _ = w.Write([]byte(strings.Repeat("nonsense ", 1000)))
				return true
			}
		},
	} {
		i := newIssuer(t, key.public())
		i.does(answer(i))
		x := opener(t, i)
		x.opens(name, x.another(key), ErrIssuerAway)
		if text := x.log.String(); len(text) > 800 || !strings.Contains(text, "does not give its keys") {
			t.Errorf("%s: logged %.1000s", name, text)
		}
	}
	if resp, err := issuerClient("https://id.example.com").Get(elsewhere.server.URL + "/keys"); err == nil {
		t.Error("an issuer that speaks encrypted has keys that come in clear")
		_ = resp.Body.Close()
	}
	if n := elsewhere.timesAsked(); n != 0 {
		t.Errorf("somebody else was asked %d times", n)
	}
}

func describing(issuer, keys string) func(http.ResponseWriter, string) bool {
	return func(w http.ResponseWriter, path string) bool {
		if path != "/.well-known/openid-configuration" {
			return false
		}
		_ = json.NewEncoder(w).Encode(map[string]any{"issuer": issuer, "jwks_uri": keys})
		return true
	}
}

// TestOIDC_KeysOfOtherKinds beside the right one do no harm, and none of them
// opens anything.
func TestOIDC_KeysOfOtherKinds(t *testing.T) {
	key, sealing, shared := newKey(t, "k1", jose.ES256), newKey(t, "k2", jose.ES256), []byte(strings.Repeat("s", 32))
	forSealing := sealing.public()
	forSealing.Use = "enc"
	private := jose.JSONWebKey{Key: newKey(t, "k4", jose.ES256).private, KeyID: "k4"}
	x := opener(t, newIssuer(t, "no key", map[string]any{"kty": "OKP", "crv": "Ed448", "x": "AAAA"}, map[string]any{"kty": "new"},
		jose.JSONWebKey{Key: shared, KeyID: "k3"}, private, forSealing, key.public()))
	x.opens("the right one", x.another(key), nil)
	x.opens("one for sealing", x.another(sealing), ErrUnauthenticated)
	x.opens("a shared secret", signed(t, jose.HS256, "k3", shared, x.good(nil)), ErrUnauthenticated)

	// Without ids each key is tried.
	nameless, second := key, sealing
	nameless.id, second.id = "", ""
	y := opener(t, newIssuer(t, second.public(), nameless.public()))
	y.opens("no id", y.another(nameless), nil)
	y.opens("no id, the other one", y.another(second), nil)
	y.opens("no id, none of them", y.another(signingKey{alg: jose.ES256, private: newKey(t, "", jose.ES256).private}), ErrUnauthenticated)
}
