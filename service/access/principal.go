package access

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"example.com/steelyard/service/store"
)

// ErrUnauthenticated: no credential, or one that does not open anything. Why is
// never told to the caller.
var ErrUnauthenticated = errors.New("unauthenticated")

// ErrBound: the credential is bound to one trainee, and the method is not about one.
var ErrBound = errors.New("bound to one trainee")

// ErrForbidden: the credential lacks the scope that the method asks for.
var ErrForbidden = errors.New("forbidden")

// Principal is an authenticated caller.
type Principal struct {
	Tenant  string
	Trainee string // the only one that it may act on; empty: all of the tenant's
	Actor   string // resource name of the credential, for the audit trail: "apiKeys/...", "subjects/..."
	KeyID   string // what its calls are counted by
	Scopes  []string
}

// May reports whether the principal holds a scope.
func (p Principal) May(scope string) bool { return slices.Contains(p.Scopes, scope) }

type principalKey struct{}

// withPrincipal is a context and a principal in one piece of memory: each call has one.
type withPrincipal struct {
	context.Context
	principal Principal
}

// Value implements context.Context.
func (c *withPrincipal) Value(key any) any {
	if key == (principalKey{}) {
		return &c.principal
	}
	return c.Context.Value(key)
}

// With returns a context that carries the principal.
func With(ctx context.Context, p Principal) context.Context {
	return &withPrincipal{ctx, p}
}

// From returns the principal of a context; the zero principal, which owns
// nothing and may do nothing, when there is none.
func From(ctx context.Context) Principal {
	if p, ok := ctx.Value(principalKey{}).(*Principal); ok {
		return *p
	}
	return Principal{}
}

type openedKey struct{}

// opened is a principal and the header that it was opened with.
type opened struct {
	header string
	Principal
}

// WithOpened returns a context that tells the services in this process whom a
// header has been opened as, so that they need not do it again. Nothing that
// comes over a network can put it there.
func WithOpened(ctx context.Context, header string, p Principal) context.Context {
	return context.WithValue(ctx, openedKey{}, opened{header, p})
}

// Opened returns whom that same header was opened as, if it was.
func Opened(ctx context.Context, header string) (Principal, bool) {
	o, ok := ctx.Value(openedKey{}).(opened)
	if !ok || o.header != header {
		return Principal{}, false
	}
	return o.Principal, true
}

// KeyFinder is the one read that authentication needs.
type KeyFinder interface {
	Key(ctx context.Context, id string) (store.Key, error)
}

// TokenOpener opens bearer tokens that are not keys of ours. ErrUnauthenticated
// when one does not open.
type TokenOpener interface {
	Open(ctx context.Context, token string) (Principal, error)
}

// Authenticator opens credentials.
type Authenticator struct {
	Keys   KeyFinder
	Tokens TokenOpener // nil: keys are all that opens
	Pepper []byte
	Now    func() time.Time
	Used   func(id string, at time.Time) // hears of each key that opened; may be nil, must not block
}

// Bearer opens the value of an Authorization header. ErrUnauthenticated when it
// does not open; any other error means that the store, or the issuer of tokens,
// could not be asked.
func (a Authenticator) Bearer(ctx context.Context, header string) (Principal, error) {
	scheme, token, _ := strings.Cut(header, " ")
	if !strings.EqualFold(scheme, "bearer") {
		return Principal{}, ErrUnauthenticated
	}
	if a.Tokens != nil && !strings.HasPrefix(token, Prefix+"_") {
		return a.Tokens.Open(ctx, token)
	}
	id, secret, ok := split(token)
	if !ok {
		return Principal{}, ErrUnauthenticated
	}
	k, err := a.Keys.Key(ctx, id)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return Principal{}, err
	}
	// An unknown id is compared too, with an empty hash, so that both ways cost the same.
	same := matches(a.Pepper, secret, k.Hash)
	now := a.Now()
	if !same || !k.Revoked.IsZero() || (!k.Expires.IsZero() && !now.Before(k.Expires)) {
		return Principal{}, ErrUnauthenticated
	}
	if a.Used != nil {
		a.Used(k.ID, now)
	}
	return Principal{Tenant: k.Tenant, Trainee: k.Trainee, Actor: "apiKeys/" + k.ID, KeyID: k.ID, Scopes: k.Scopes}, nil
}
