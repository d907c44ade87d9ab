package service

import (
	"context"
	"crypto/hkdf"
	"crypto/sha256"
	"fmt"
	"os"
	"time"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres"
	"example.com/steelyard/service/store/sqlite"
)

// Keyring manages API keys beside or inside a running service.
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
	token, key, err := access.Issue(k.pepper, tenant, name, scopes, time.Now().UTC().Truncate(time.Second), expires)
	if err != nil {
		return "", store.Key{}, err
	}
	return token, key, k.store.PutKey(ctx, key)
}

// List returns a tenant's keys.
func (k *Keyring) List(ctx context.Context, tenant string) ([]store.Key, error) {
	return k.store.ListKeys(ctx, tenant)
}

// Revoke ends a key for good. store.ErrNotFound when the tenant has none of that id.
func (k *Keyring) Revoke(ctx context.Context, tenant, id string) error {
	return k.store.RevokeKey(ctx, tenant, id)
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
