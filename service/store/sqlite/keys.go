package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"math"
	"time"

	"example.com/steelyard/service/store"
)

const (
	keyColumns = `id, tenant, trainee, name, hash, scopes, created, expires, revoked, used`

	selectKey        = `SELECT ` + keyColumns + ` FROM api_key WHERE id = ?`
	selectKeyCreated = `SELECT created FROM api_key WHERE tenant = ? AND id = ?`
	selectKeys       = `SELECT ` + keyColumns + ` FROM api_key WHERE tenant = ? AND (created, id) > (?, ?) ORDER BY created, id LIMIT ?`

	insertKey = `INSERT INTO api_key (` + keyColumns + `) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`

	// A key that ends sooner by itself keeps its time.
	endKey = `UPDATE api_key SET expires = min(coalesce(expires, ?1), ?1)
WHERE tenant = ?2 AND id = ?3 AND revoked IS NULL AND (expires IS NULL OR expires > ?4)`

	revokeKey = `UPDATE api_key SET revoked = ? WHERE tenant = ? AND id = ? AND revoked IS NULL`
	useKey    = `UPDATE api_key SET used = ?2 WHERE id = ?1 AND (used IS NULL OR used < ?2)`
)

// PutKey implements store.Keys.
func (s *Store) PutKey(ctx context.Context, k store.Key, by store.AuditRecord) error {
	return s.write(ctx, func(c conn) error { return fail(ctx, "put key", c.putKey(k, by)) })
}

func (c conn) putKey(k store.Key, by store.AuditRecord) error {
	scopes, err := json.Marshal(k.Scopes)
	if err != nil {
		return err
	}
	_, err = c.exec(insertKey, k.ID, k.Tenant, nullableText(k.Trainee), k.Name, k.Hash, string(scopes),
		k.Created.Unix(), nullableInstant(k.Expires), nullableInstant(k.Revoked), nullableInstant(k.Used))
	if err != nil {
		return err
	}
	return c.audit(store.Scope{Tenant: k.Tenant, Trainee: k.Trainee}, by)
}

// Key implements store.Keys.
func (s *Store) Key(ctx context.Context, id string) (store.Key, error) {
	k, err := scanKey(s.reads[selectKey].QueryRowContext(ctx, id))
	return k, fail(ctx, "read key", err)
}

// ListKeys implements store.Keys.
func (s *Store) ListKeys(ctx context.Context, tenant, after string, limit int) ([]store.Key, error) {
	created := int64(math.MinInt64)
	if after != "" {
		if err := s.reads[selectKeyCreated].QueryRowContext(ctx, tenant, after).Scan(&created); err != nil {
			return nil, fail(ctx, "list keys", err)
		}
	}
	var out []store.Key
	rows, err := s.reads[selectKeys].QueryContext(ctx, tenant, created, after, limit)
	err = eachRow(rows, err, func(rows *sql.Rows) error {
		k, err := scanKey(rows)
		out = append(out, k)
		return err
	})
	return out, fail(ctx, "list keys", err)
}

// RotateKey implements store.Keys. The new key comes first: that its id is taken is
// told whatever the old one is by now.
func (s *Store) RotateKey(ctx context.Context, old string, ends time.Time, k store.Key, by store.AuditRecord) error {
	return s.write(ctx, func(c conn) error {
		if err := c.putKey(k, by); err != nil {
			return fail(ctx, "rotate key", err)
		}
		return fail(ctx, "rotate key", c.change(endKey, ends.Unix(), k.Tenant, old, s.now().Unix()))
	})
}

// RevokeKey implements store.Keys.
func (s *Store) RevokeKey(ctx context.Context, tenant, id string, by store.AuditRecord) (store.Key, error) {
	var k store.Key
	err := s.write(ctx, func(c conn) error {
		revoked, err := c.exec(revokeKey, s.now().Unix(), tenant, id)
		if err == nil {
			k, err = scanKey(c.row(selectKey, id))
		}
		if err == nil && k.Tenant != tenant {
			err = sql.ErrNoRows
		}
		if err == nil && revoked != 0 {
			err = c.audit(store.Scope{Tenant: tenant, Trainee: k.Trainee}, by)
		}
		return fail(ctx, "revoke key", err)
	})
	if err != nil {
		return store.Key{}, err
	}
	return k, nil
}

// UsedKeys implements store.Keys.
func (s *Store) UsedKeys(ctx context.Context, used map[string]time.Time) error {
	return s.write(ctx, func(c conn) error {
		for id, at := range used {
			if _, err := c.exec(useKey, id, at.Unix()); err != nil {
				return fail(ctx, "note used keys", err)
			}
		}
		return nil
	})
}

// scanKey reads keyColumns.
func scanKey(row interface{ Scan(...any) error }) (store.Key, error) {
	var k store.Key
	var scopes []byte
	var trainee sql.NullString
	var created int64
	var expires, revoked, used sql.NullInt64
	err := row.Scan(&k.ID, &k.Tenant, &trainee, &k.Name, &k.Hash, &scopes, &created, &expires, &revoked, &used)
	if err != nil {
		return store.Key{}, err
	}
	k.Trainee, k.Created = trainee.String, instant(created)
	k.Expires, k.Revoked, k.Used = knownInstant(expires), knownInstant(revoked), knownInstant(used)
	return k, json.Unmarshal(scopes, &k.Scopes)
}

func nullableText(text string) sql.NullString { return sql.NullString{String: text, Valid: text != ""} }

func nullableInstant(t time.Time) sql.NullInt64 {
	return sql.NullInt64{Int64: t.Unix(), Valid: !t.IsZero()}
}

func knownInstant(n sql.NullInt64) time.Time {
	if !n.Valid {
		return time.Time{}
	}
	return instant(n.Int64)
}
