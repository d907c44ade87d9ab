package store

import (
	"context"
	"time"
)

// Keys are the API keys of a tenant. Each change adds its audit record in the
// same transaction; it is about the trainee that the key is bound to, if any.
type Keys interface {
	// PutKey adds a key. ErrExists when its id is taken, ErrNotFound when it is
	// bound to a trainee and there is no such one.
	PutKey(ctx context.Context, k Key, by AuditRecord) error
	// Key finds a key by its public id. ErrNotFound when there is none.
	Key(ctx context.Context, id string) (Key, error)
	// ListKeys returns up to limit of a tenant's keys by creation time, then id,
	// after the key of the given id; empty is from the start. ErrNotFound when the
	// tenant has no key to start after.
	ListKeys(ctx context.Context, tenant, after string, limit int) ([]Key, error)
	// RotateKey adds a key of the same tenant, and lets the old one end at a time unless it
	// ends sooner by itself. ErrExists when the new id is taken, whatever the old key is
	// by now; ErrNotFound when the tenant has no live key of the old id, and as PutKey.
	RotateKey(ctx context.Context, old string, ends time.Time, k Key, by AuditRecord) error
	// RevokeKey ends a key for good and returns it as it then is. Revoking it again
	// changes nothing and adds no record. ErrNotFound when the tenant has none of that id.
	RevokeKey(ctx context.Context, tenant, id string, by AuditRecord) (Key, error)
	// UsedKeys notes when keys were last used. A time earlier than the noted one,
	// and an id that is no key's, change nothing.
	UsedKeys(ctx context.Context, used map[string]time.Time) error
}

// Key is a stored API key. The secret itself is never stored. Times are UTC, whole seconds.
type Key struct {
	ID      string // public, unique over all tenants
	Tenant  string
	Trainee string // the only one that it is for; empty: all of the tenant's
	Name    string // the operator's label
	Hash    []byte // keyed hash of the secret
	Scopes  []string
	Created time.Time
	Expires time.Time // zero: never
	Revoked time.Time // zero: live
	Used    time.Time // last; zero: never
}

// Live reports whether the key opens anything at a time.
func (k Key) Live(at time.Time) bool {
	return k.Revoked.IsZero() && (k.Expires.IsZero() || at.Before(k.Expires))
}

// Successor returns what replaces a key: for the same and with the same name and
// scopes, and with neither id nor hash yet.
func (k Key) Successor(created, expires time.Time) Key {
	return Key{
		Tenant: k.Tenant, Trainee: k.Trainee, Name: k.Name, Scopes: k.Scopes,
		Created: created.UTC().Truncate(time.Second), Expires: expires,
	}
}
