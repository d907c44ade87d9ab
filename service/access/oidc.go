package access

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"regexp"
	"strings"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"github.com/maypok86/otter/v2"
)

const (
	// leeway is how far the issuer's clock may be from ours.
	leeway = 30 * time.Second
	// remembered is how long a token that was verified is taken without another
	// look at its signature, and so how long a key that the issuer withdraws lasts
	// at most after that is known here.
	remembered = 30 * time.Second
	// mostRemembered bounds the tokens that are remembered, some 5 MB.
	mostRemembered = 10_000
	// longestToken and longestSubject are in bytes; the latter is the standard's.
	longestToken   = 8 << 10
	longestSubject = 255
)

// tokenShape is three parts of base64url: a signed token in its compact form.
var tokenShape = regexp.MustCompile(`^[A-Za-z0-9_-]+\.[A-Za-z0-9_-]+\.[A-Za-z0-9_-]+$`)

// ErrIssuerAway: the issuer's keys are not known here and it does not answer, so
// nothing can be said of a token.
var ErrIssuerAway = errors.New("the identity provider does not answer")

// OIDCOptions says whose tokens are taken and which claims mean what. The claims
// are top-level ones.
type OIDCOptions struct {
	Issuer   string // as ValidateIssuer wants it; exactly what its tokens say
	Audience string // that a token must be made for

	TenantClaim  string // a string of the shape of a tenant; a token without does not open
	ScopeClaim   string // a string of words or a list of strings; scopes that are not ours are passed over
	TraineeClaim string // a trainee's id; a token without is not bound to one. Empty: no token is bound

	Now func() time.Time
	Log *slog.Logger
}

// OIDC opens the signed tokens of one OpenID Connect provider. The token is
// never sent anywhere, and nobody whom a token names is asked for anything.
type OIDC struct {
	opt    OIDCOptions
	keys   *issuerKeys
	config *oidc.Config
	seen   *otter.Cache[[sha256.Size]byte, remembrance]
}

// remembrance is what a token opened, and until when.
type remembrance struct {
	principal Principal
	until     time.Time
}

// NewOIDC returns an opener. It asks the issuer for nothing yet: one that is away
// stops no start.
func NewOIDC(opt OIDCOptions) (*OIDC, error) {
	if err := ValidateIssuer(opt.Issuer); err != nil {
		return nil, err
	}
	if opt.Audience == "" || opt.TenantClaim == "" || opt.ScopeClaim == "" {
		return nil, errors.New("an audience and the names of the claims for tenant and scopes are needed")
	}
	seen, err := otter.New(&otter.Options[[sha256.Size]byte, remembrance]{
		MaximumSize: mostRemembered, ExpiryCalculator: otter.ExpiryWriting[[sha256.Size]byte, remembrance](remembered),
	})
	if err != nil {
		return nil, fmt.Errorf("verified tokens: %w", err)
	}
	return &OIDC{
		opt: opt, keys: newIssuerKeys(opt.Issuer, opt.Now, opt.Log), seen: seen,
		// Times are checked below: the library has another leeway for each.
		config: &oidc.Config{ClientID: opt.Audience, SupportedSigningAlgs: algorithmNames(), SkipExpiryCheck: true},
	}, nil
}

// Open implements TokenOpener. ErrUnauthenticated when the token does not open,
// ErrIssuerAway when that cannot be told.
func (o *OIDC) Open(ctx context.Context, token string) (Principal, error) {
	if len(token) > longestToken || !tokenShape.MatchString(token) {
		return Principal{}, ErrUnauthenticated
	}
	id := sha256.Sum256([]byte(token))
	now := o.opt.Now()
	if r, ok := o.seen.GetIfPresent(id); ok && now.Before(r.until) {
		return r.principal, nil
	}
	keys := keysOfCall{issuerKeys: o.keys}
	verified, err := oidc.NewVerifier(o.opt.Issuer, &keys, o.config).Verify(ctx, token)
	switch {
	case keys.err != nil: // the library drops it
		return Principal{}, keys.err
	case err != nil:
		return Principal{}, ErrUnauthenticated
	}
	p, ends, err := o.principal(verified, now)
	if err != nil {
		return Principal{}, ErrUnauthenticated
	}
	o.seen.Set(id, remembrance{principal: p, until: earlier(ends, now.Add(remembered))})
	return p, nil
}

// principal reads the claims of a token whose signature, issuer and audience are
// right, and returns when it ends.
func (o *OIDC) principal(t *oidc.IDToken, now time.Time) (p Principal, ends time.Time, err error) {
	var claims map[string]json.RawMessage
	if err := t.Claims(&claims); err != nil {
		return Principal{}, time.Time{}, err
	}
	ends = t.Expiry.Add(leeway) // without an expiry it ended in 1970 or before
	if !now.Before(ends) {
		return Principal{}, time.Time{}, errors.New("it has expired")
	}
	var begins float64 // seconds of the epoch
	if raw, ok := claims["nbf"]; ok {
		if err := json.Unmarshal(raw, &begins); err != nil {
			return Principal{}, time.Time{}, err
		}
	}
	if float64(now.Add(leeway).Unix()) < begins {
		return Principal{}, time.Time{}, errors.New("it is not valid yet")
	}
	if t.Subject == "" || len(t.Subject) > longestSubject {
		return Principal{}, time.Time{}, errors.New("it has no subject")
	}
	if err := json.Unmarshal(claims[o.opt.TenantClaim], &p.Tenant); err != nil || !tenantShape.MatchString(p.Tenant) {
		return Principal{}, time.Time{}, errors.New("it names no tenant")
	}
	// A claim that is there and names nobody must not open everybody's data.
	if raw, ok := claims[o.opt.TraineeClaim]; ok && o.opt.TraineeClaim != "" {
		if err := json.Unmarshal(raw, &p.Trainee); err != nil || !traineeShape.MatchString(p.Trainee) {
			return Principal{}, time.Time{}, errors.New("it is bound to no trainee")
		}
	}
	if p.Scopes, err = scopesOf(claims[o.opt.ScopeClaim]); err != nil {
		return Principal{}, time.Time{}, err
	}
	p.Actor = "subjects/" + url.PathEscape(t.Subject)
	sum := sha256.Sum256([]byte(t.Subject)) // what is counted needs no name
	p.KeyID = "oidc:" + base64.RawURLEncoding.EncodeToString(sum[:16])
	return p, ends, nil
}

// traineeShape is that of a trainee's id in the contract.
var traineeShape = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,62}$`)

// scopesOf reads a claim of scopes, of which a token may have none.
func scopesOf(raw json.RawMessage) ([]string, error) {
	if len(raw) == 0 {
		return nil, nil
	}
	var words string
	var list []string
	if err := json.Unmarshal(raw, &words); err == nil {
		list = strings.Fields(words)
	} else if err := json.Unmarshal(raw, &list); err != nil {
		return nil, err
	}
	var ours []string
	for _, s := range list {
		if _, ok := ParseScope(s); ok {
			ours = append(ours, s)
		}
	}
	return ours, nil
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}
