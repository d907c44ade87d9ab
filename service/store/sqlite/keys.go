package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"time"

	"example.com/steelyard/service/store"
)

const (
	keyColumns = `id, tenant, name, hash, scopes, created, expires, revoked`

	selectKey  = `SELECT ` + keyColumns + ` FROM api_key WHERE id = ?`
	selectKeys = `SELECT ` + keyColumns + ` FROM api_key WHERE tenant = ? ORDER BY created, id`

	insertKey = `INSERT INTO api_key (` + keyColumns + `) VALUES (?, ?, ?, ?, ?, ?, ?, ?)`

	// A key that was revoked before keeps its time.
	revokeKey = `UPDATE api_key SET revoked = coalesce(revoked, ?) WHERE tenant = ? AND id = ?`
)

// PutKey implements store.Keys.
func (s *Store) PutKey(ctx context.Context, k store.Key) error {
	scopes, err := json.Marshal(k.Scopes)
	if err != nil {
		return fail(ctx, "put key", err)
	}
	_, err = s.writes[insertKey].ExecContext(ctx, k.ID, k.Tenant, k.Name, k.Hash, string(scopes),
		k.Created.Unix(), nullableInstant(k.Expires), nullableInstant(k.Revoked))
	return fail(ctx, "put key", err)
}

// Key implements store.Keys.
func (s *Store) Key(ctx context.Context, id string) (store.Key, error) {
	keys, err := s.keys(ctx, selectKey, id)
	if err == nil && len(keys) == 0 {
		err = sql.ErrNoRows
	}
	if err != nil {
		return store.Key{}, fail(ctx, "read key", err)
	}
	return keys[0], nil
}

// ListKeys implements store.Keys.
func (s *Store) ListKeys(ctx context.Context, tenant string) ([]store.Key, error) {
	keys, err := s.keys(ctx, selectKeys, tenant)
	return keys, fail(ctx, "list keys", err)
}

// RevokeKey implements store.Keys.
func (s *Store) RevokeKey(ctx context.Context, tenant, id string) error {
	res, err := s.writes[revokeKey].ExecContext(ctx, s.now().Unix(), tenant, id)
	if err != nil {
		return fail(ctx, "revoke key", err)
	}
	n, err := res.RowsAffected()
	if err == nil && n == 0 {
		err = sql.ErrNoRows
	}
	return fail(ctx, "revoke key", err)
}

// keys reads what a query with keyColumns finds.
func (s *Store) keys(ctx context.Context, query string, args ...any) ([]store.Key, error) {
	var out []store.Key
	rows, err := s.reads[query].QueryContext(during(ctx), args...)
	err = eachRow(rows, err, func(rows *sql.Rows) error {
		var k store.Key
		var scopes sql.RawBytes
		var created int64
		var expires, revoked sql.NullInt64
		if err := rows.Scan(&k.ID, &k.Tenant, &k.Name, &k.Hash, &scopes, &created, &expires, &revoked); err != nil {
			return err
		}
		k.Created, k.Expires, k.Revoked = instant(created), knownInstant(expires), knownInstant(revoked)
		out = append(out, k)
		return json.Unmarshal(scopes, &out[len(out)-1].Scopes)
	})
	return out, err
}

func nullableInstant(t time.Time) sql.NullInt64 {
	return sql.NullInt64{Int64: t.Unix(), Valid: !t.IsZero()}
}

func knownInstant(n sql.NullInt64) time.Time {
	if !n.Valid {
		return time.Time{}
	}
	return instant(n.Int64)
}
