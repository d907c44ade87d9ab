package service

import (
	"context"
	"crypto/hkdf"
	"crypto/sha256"
	"fmt"
	"os"
	"time"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres"
	"example.com/steelyard/service/store/sqlite"
	"example.com/steelyard/service/trail"
)

// Keyring manages API keys beside or inside a running service, on behalf of whoever
// operates it.
type Keyring struct {
	store  store.Store
	pepper []byte
}

// OpenKeyring opens the store that cfg names.
func OpenKeyring(ctx context.Context, cfg Config) (*Keyring, error) {
	cfg = cfg.WithDefaults()
	if err := cfg.validateStore(); err != nil {
		return nil, err
	}
	if !cfg.onPostgres() { // which keeps nothing here
		if err := os.MkdirAll(cfg.DataDir, 0o700); err != nil {
			return nil, fmt.Errorf("data-dir: %w", err)
		}
	}
	pepper, err := cfg.pepper()
	if err != nil {
		return nil, err
	}
	s, err := cfg.openStore(ctx)
	if err != nil {
		return nil, fmt.Errorf("open store: %w", err)
	}
	return &Keyring{store: s, pepper: pepper}, nil
}

func (c Config) openStore(ctx context.Context) (store.Store, error) {
	if c.onPostgres() {
		return postgres.Open(ctx, string(c.StoreURL), string(c.StoreOwnerURL), time.Now)
	}
	path, err := c.sqlitePath()
	if err != nil {
		return nil, err
	}
	return sqlite.Open(ctx, path, time.Now)
}

// Issue makes a key and returns its token, which is shown this once. A zero
// expiry never expires.
func (k *Keyring) Issue(ctx context.Context, tenant, name string, scopes []string, expires time.Time) (string, store.Key, error) {
	return k.IssueBound(ctx, tenant, "", name, scopes, expires)
}

// IssueBound makes a key that is for one trainee alone, unless trainee is empty.
// store.ErrNotFound when there is no such trainee.
func (k *Keyring) IssueBound(ctx context.Context, tenant, trainee, name string, scopes []string, expires time.Time) (string, store.Key, error) {
	now := time.Now().UTC()
	token, key, err := access.Fill(k.pepper, store.Key{
		Tenant: tenant, Trainee: trainee, Name: name, Scopes: scopes, Created: now.Truncate(time.Second), Expires: expires,
	})
	if err != nil {
		return "", store.Key{}, err
	}
	return token, key, k.store.PutKey(ctx, key, operator("CreateApiKey", key.ID, now))
}

// Rotate makes a key's successor and lets the old one end after an overlap.
// store.ErrNotFound when the tenant has no live key of that id.
func (k *Keyring) Rotate(ctx context.Context, tenant, id string, overlap time.Duration, expires time.Time) (string, store.Key, error) {
	old, err := k.store.Key(ctx, id)
	if err != nil {
		return "", store.Key{}, err
	}
	if old.Tenant != tenant {
		return "", store.Key{}, store.ErrNotFound
	}
	now := time.Now().UTC()
	token, key, err := access.Fill(k.pepper, old.Successor(now, expires))
	if err != nil {
		return "", store.Key{}, err
	}
	return token, key, k.store.RotateKey(ctx, id, now.Add(overlap), key, operator("RotateApiKey", id, now))
}

// listedAtOnce is how many keys List asks for at once.
const listedAtOnce = 1000

// List returns all of a tenant's keys.
func (k *Keyring) List(ctx context.Context, tenant string) ([]store.Key, error) {
	var all []store.Key
	for after := ""; ; after = all[len(all)-1].ID {
		page, err := k.store.ListKeys(ctx, tenant, after, listedAtOnce)
		all = append(all, page...)
		if err != nil || len(page) < listedAtOnce {
			return all, err
		}
	}
}

// Revoke ends a key for good. store.ErrNotFound when the tenant has none of that id.
func (k *Keyring) Revoke(ctx context.Context, tenant, id string) error {
	_, err := k.store.RevokeKey(ctx, tenant, id, operator("RevokeApiKey", id, time.Now()))
	return err
}

// operator is the record of what is done to a key by hand.
func operator(method, key string, now time.Time) store.AuditRecord {
	return trail.By(trail.Operator, method, convert.KeyName(key), now)
}

// secret derives a secret from the pepper, which every replica has.
func (k *Keyring) secret(of string, size int) ([]byte, error) {
	b, err := hkdf.Key(sha256.New, k.pepper, nil, "steelyard "+of, size)
	if err != nil {
		return nil, fmt.Errorf("secret of %s: %w", of, err)
	}
	return b, nil
}

// Close releases the store.
func (k *Keyring) Close() error { return k.store.Close() }
