package sqlite

import (
	"context"
	"encoding/json"
	"math"
	"time"

	driver "zombiezen.com/go/sqlite"

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
	var k store.Key
	err := s.get(ctx, func(c conn) (err error) {
		k, err = c.key(id)
		return err
	})
	return k, fail(ctx, "read key", err)
}

// ListKeys implements store.Keys.
func (s *Store) ListKeys(ctx context.Context, tenant, after string, limit int) ([]store.Key, error) {
	var out []store.Key
	err := s.get(ctx, func(c conn) error {
		created := int64(math.MinInt64)
		if after != "" {
			err := c.row(func(st *driver.Stmt) error {
				created = st.ColumnInt64(0)
				return nil
			}, selectKeyCreated, tenant, after)
			if err != nil {
				return err
			}
		}
		return c.each(func(st *driver.Stmt) error {
			k, err := scanKey(st)
			out = append(out, k)
			return err
		}, selectKeys, tenant, created, after, limit)
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
			k, err = c.key(id)
		}
		if err == nil && k.Tenant != tenant {
			err = errNoRow
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

func (c conn) key(id string) (k store.Key, err error) {
	err = c.row(func(st *driver.Stmt) (err error) {
		k, err = scanKey(st)
		return err
	}, selectKey, id)
	return k, err
}

// scanKey reads keyColumns.
func scanKey(st *driver.Stmt) (store.Key, error) {
	k := store.Key{
		ID: st.ColumnText(0), Tenant: st.ColumnText(1), Trainee: st.ColumnText(2), Name: st.ColumnText(3), Hash: columnBytes(st, 4, nil),
		Created: instant(st.ColumnInt64(6)), Expires: columnInstant(st, 7), Revoked: columnInstant(st, 8), Used: columnInstant(st, 9),
	}
	return k, json.Unmarshal(columnBytes(st, 5, nil), &k.Scopes)
}
