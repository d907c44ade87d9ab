package postgres

import (
	"context"
	"encoding/json"
	"time"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/service/store"
)

const (
	keyColumns = `id, tenant, name, hash, scopes, created, expires, revoked`

	selectKey  = `SELECT ` + keyColumns + ` FROM api_key WHERE id = $1`
	selectKeys = `SELECT ` + keyColumns + ` FROM api_key WHERE tenant = $1 ORDER BY created, id`

	insertKey = `INSERT INTO api_key (` + keyColumns + `) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`

	// A key that was revoked before keeps its time.
	revokeKey = `UPDATE api_key SET revoked = coalesce(revoked, $3) WHERE tenant = $1 AND id = $2`

	// Until the end of the transaction: which one key there is, whoever's it is.
	setKey = `SELECT set_config('steelyard.key', $1, true), set_config('statement_timeout', $2, true)`
)

// PutKey implements store.Keys.
func (s *Store) PutKey(ctx context.Context, k store.Key) error {
	scopes, err := json.Marshal(k.Scopes)
	if err != nil {
		return fail(ctx, "put key", err)
	}
	b := &pgx.Batch{}
	named(ctx, b, k.Tenant)
	b.Queue(insertKey, k.ID, k.Tenant, free(k.Name), k.Hash, string(scopes),
		k.Created.Unix(), nullableInstant(k.Expires), nullableInstant(k.Revoked))
	return fail(ctx, "put key", s.ask(ctx, b))
}

// Key implements store.Keys.
func (s *Store) Key(ctx context.Context, id string) (store.Key, error) {
	var keys []store.Key
	b := &pgx.Batch{}
	b.Queue(setKey, id, statementTimeout(ctx))
	b.Queue(selectKey, id).Query(eachRow(scanKey(&keys)))
	err := s.ask(ctx, b)
	if err == nil && len(keys) == 0 {
		err = pgx.ErrNoRows
	}
	if err != nil {
		return store.Key{}, fail(ctx, "read key", err)
	}
	return keys[0], nil
}

// ListKeys implements store.Keys.
func (s *Store) ListKeys(ctx context.Context, tenant string) ([]store.Key, error) {
	var keys []store.Key
	b := &pgx.Batch{}
	named(ctx, b, tenant)
	b.Queue(selectKeys, tenant).Query(eachRow(scanKey(&keys)))
	if err := s.ask(ctx, b); err != nil {
		return nil, fail(ctx, "list keys", err)
	}
	return keys, nil
}

// RevokeKey implements store.Keys.
func (s *Store) RevokeKey(ctx context.Context, tenant, id string) error {
	var n int64
	b := &pgx.Batch{}
	named(ctx, b, tenant)
	b.Queue(revokeKey, tenant, id, s.now().Unix()).Exec(func(tag commandTag) error {
		n = tag.RowsAffected()
		return nil
	})
	err := s.ask(ctx, b)
	if err == nil && n == 0 {
		err = pgx.ErrNoRows
	}
	return fail(ctx, "revoke key", err)
}

func scanKey(keys *[]store.Key) func(pgx.Rows) error {
	return func(r pgx.Rows) error {
		var k store.Key
		var scopes string
		var created int64
		var expires, revoked *int64
		if err := r.Scan(&k.ID, &k.Tenant, &k.Name, &k.Hash, &scopes, &created, &expires, &revoked); err != nil {
			return err
		}
		k.Name, k.Created, k.Expires, k.Revoked = given(k.Name), instant(created), knownInstant(expires), knownInstant(revoked)
		*keys = append(*keys, k)
		return json.Unmarshal([]byte(scopes), &(*keys)[len(*keys)-1].Scopes)
	}
}

func nullableInstant(t time.Time) *int64 {
	if t.IsZero() {
		return nil
	}
	unix := t.Unix()
	return &unix
}

func knownInstant(unix *int64) time.Time {
	if unix == nil {
		return time.Time{}
	}
	return instant(*unix)
}
