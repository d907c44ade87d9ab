package access

import (
	"context"
	"crypto/hmac"
	"errors"
	"slices"
	"strings"
	"time"

	"example.com/steelyard/service/store"
)

// ErrUnauthenticated: no credential, or one that does not open anything. Why is
// never told to the caller.
var ErrUnauthenticated = errors.New("unauthenticated")

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

// With returns a context that carries the principal.
func With(ctx context.Context, p Principal) context.Context {
	return context.WithValue(ctx, principalKey{}, p)
}

// From returns the principal of a context; the zero principal, which owns
// nothing and may do nothing, when there is none.
func From(ctx context.Context) Principal {
	p, _ := ctx.Value(principalKey{}).(Principal)
	return p
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
	same := hmac.Equal(hash(a.Pepper, secret), k.Hash)
	now := a.Now()
	if !same || !k.Revoked.IsZero() || (!k.Expires.IsZero() && !now.Before(k.Expires)) {
		return Principal{}, ErrUnauthenticated
	}
	return Principal{Tenant: k.Tenant, Trainee: k.Trainee, Actor: "apiKeys/" + k.ID, KeyID: k.ID, Scopes: k.Scopes}, nil
}
