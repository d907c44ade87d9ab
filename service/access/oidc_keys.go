package access

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"github.com/go-jose/go-jose/v4"
	"golang.org/x/sync/singleflight"
)

const (
	// freshFor is how long keys are used before the issuer is asked again, behind
	// the calls. One that it withdraws is taken so much longer.
	freshFor = 10 * time.Minute
	// trustedFor is how long they are used at most when it does not answer.
	trustedFor = time.Hour
	// askAgain bounds how often it is asked, whatever strangers send.
	askAgain = 5 * time.Second
	// answerWithin bounds how long a call waits for it.
	answerWithin = 3 * time.Second
)

// algorithms of signatures with a key pair. A secret that both sides know (HS256)
// and no signature at all are never among them.
var algorithms = []jose.SignatureAlgorithm{jose.RS256, jose.ES256, jose.PS256, jose.EdDSA}

func algorithmNames() []string {
	names := make([]string, len(algorithms))
	for i, a := range algorithms {
		names[i] = string(a)
	}
	return names
}

// issuerKeys are the public keys of an issuer. The library's own key set never
// lets go of a key and asks for each signature that is wrong; so this one.
type issuerKeys struct {
	issuer string
	client *http.Client
	within time.Duration // that it answers
	now    func() time.Time
	log    *slog.Logger

	asking singleflight.Group
	mu     sync.Mutex
	keys   []jose.JSONWebKey
	read   time.Time // when the keys were read; zero: never
	asked  time.Time // when the issuer was last asked, and answered or not
	failed bool      // it did not
}

func newIssuerKeys(issuer string, now func() time.Time, log *slog.Logger) *issuerKeys {
	return &issuerKeys{issuer: issuer, client: issuerClient(issuer), within: answerWithin, now: now, log: log}
}

// keysOfCall keeps what the library would drop: that the issuer was away.
type keysOfCall struct {
	*issuerKeys
	err error
}

// VerifySignature implements oidc.KeySet.
func (k *keysOfCall) VerifySignature(ctx context.Context, token string) (payload []byte, err error) {
	signed, err := jose.ParseSignedCompact(token, algorithms)
	if err != nil {
		return nil, err
	}
	keys, err := k.current(ctx)
	if err != nil {
		k.err = err
		return nil, err
	}
	payload, known := verify(signed, keys)
	if payload == nil && !known { // a key that is newer than ours?
		if keys, k.err = k.newer(ctx, keys); k.err == nil {
			payload, _ = verify(signed, keys)
		}
	}
	if payload == nil {
		return nil, errors.New("no key of the issuer made the signature")
	}
	return payload, nil
}

// verify returns the payload when one of the keys made the signature, and whether
// the key that the token names is among them.
func verify(signed *jose.JSONWebSignature, keys []jose.JSONWebKey) (payload []byte, known bool) {
	header := signed.Signatures[0].Protected // the compact form has one
	for _, key := range keys {
		if header.KeyID != "" && key.KeyID != header.KeyID {
			continue
		}
		known = header.KeyID != ""
		if key.Algorithm != "" && key.Algorithm != header.Algorithm {
			continue
		}
		if payload, err := signed.Verify(key); err == nil {
			return payload, true
		}
	}
	return nil, known
}

// current returns the keys to use now. It waits for the issuer only when there
// are none that may still be trusted.
func (k *issuerKeys) current(ctx context.Context) ([]jose.JSONWebKey, error) {
	k.mu.Lock()
	now := k.now()
	keys, age, sinceAsked := k.keys, now.Sub(k.read), now.Sub(k.asked)
	k.mu.Unlock()
	switch {
	case age < freshFor:
	case age < trustedFor:
		if sinceAsked >= askAgain {
			k.ask()
		}
	case sinceAsked >= askAgain:
		return k.wait(ctx)
	default:
		return nil, ErrIssuerAway
	}
	return keys, nil
}

// newer asks for keys that the ones in hand may lack. It returns the same ones
// when the issuer was asked just now.
func (k *issuerKeys) newer(ctx context.Context, had []jose.JSONWebKey) ([]jose.JSONWebKey, error) {
	k.mu.Lock()
	keys, justAsked, failed := k.keys, k.now().Sub(k.asked) < askAgain, k.failed
	k.mu.Unlock()
	switch {
	case !justAsked:
		return k.wait(ctx)
	case failed:
		return nil, ErrIssuerAway
	}
	return keys, nil
}

// ask asks the issuer, once for all who do so at the same time.
func (k *issuerKeys) ask() <-chan singleflight.Result {
	return k.asking.DoChan("", func() (any, error) {
		ctx, cancel := context.WithTimeout(context.Background(), k.within) // not of the call that came first
		defer cancel()
		keys, err := k.fetch(ctx)
		k.mu.Lock()
		defer k.mu.Unlock()
		k.asked = k.now()
		if err != nil && !k.failed {
			k.log.Error("the identity provider does not give its keys; tokens may not open", "issuer", k.issuer, "cause", short(err))
		} else if err == nil && k.failed {
			k.log.Info("the identity provider gives its keys again", "issuer", k.issuer)
		}
		if k.failed = err != nil; k.failed {
			return nil, ErrIssuerAway
		}
		k.keys, k.read = keys, k.asked
		return keys, nil
	})
}

func (k *issuerKeys) wait(ctx context.Context) ([]jose.JSONWebKey, error) {
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case r := <-k.ask():
		keys, _ := r.Val.([]jose.JSONWebKey)
		return keys, r.Err
	}
}

// fetch reads the issuer's description, which has to be of this issuer, and the
// keys that it names.
func (k *issuerKeys) fetch(ctx context.Context) ([]jose.JSONWebKey, error) {
	provider, err := oidc.NewProvider(oidc.ClientContext(ctx, k.client), k.issuer)
	if err != nil {
		return nil, err
	}
	var described struct {
		Keys string `json:"jwks_uri"`
	}
	if err := provider.Claims(&described); err != nil {
		return nil, err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, described.Keys, nil)
	if err != nil {
		return nil, err
	}
	resp, err := k.client.Do(req)
	if err != nil {
		return nil, err
	}
	defer func() { _ = resp.Body.Close() }()
	if resp.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("keys: status %d", resp.StatusCode)
	}
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		return nil, fmt.Errorf("keys: %w", err)
	}
	return readKeys(body)
}

// readKeys reads a key set. A key of a kind that is not known here, or that is
// not for signatures, is passed over, as the standard says (RFC 7517, section 5).
func readKeys(body []byte) ([]jose.JSONWebKey, error) {
	var set struct {
		Keys []json.RawMessage `json:"keys"`
	}
	if err := json.Unmarshal(body, &set); err != nil {
		return nil, fmt.Errorf("keys: %w", err)
	}
	var keys []jose.JSONWebKey
	for _, raw := range set.Keys {
		var key jose.JSONWebKey
		if err := json.Unmarshal(raw, &key); err == nil && (key.Use == "" || key.Use == "sig") {
			keys = append(keys, key)
		}
	}
	if len(keys) == 0 {
		return nil, errors.New("keys: there is none that can be used")
	}
	return keys, nil
}

// short cuts an error that may repeat a whole page.
func short(err error) string {
	const most = 200
	if text := err.Error(); len(text) > most {
		return text[:most]
	}
	return err.Error()
}
