package postgres

import (
	"context"
	"encoding/json"
	"maps"
	"math"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"example.com/steelyard/service/store"
)

const (
	keyColumns = `id, tenant, trainee, name, hash, scopes, created, expires, revoked, used`

	selectKey        = `SELECT ` + keyColumns + ` FROM api_key WHERE id = $1`
	selectKeyCreated = `SELECT created FROM api_key WHERE tenant = $1 AND id = $2`
	selectKeys       = `SELECT ` + keyColumns + ` FROM api_key WHERE tenant = $1 AND (created, id) > ($2, $3) ORDER BY created, id LIMIT $4`
	selectKeyOf      = `SELECT ` + keyColumns + ` FROM api_key WHERE tenant = $1 AND id = $2`

	insertKey = `INSERT INTO api_key (` + keyColumns + `) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`

	// A key that ends sooner by itself keeps its time.
	endKey = `UPDATE api_key SET expires = least(coalesce(expires, $3), $3)
WHERE tenant = $1 AND id = $2 AND revoked IS NULL AND (expires IS NULL OR expires > $4)`

	revokeKey = `UPDATE api_key SET revoked = $3 WHERE tenant = $1 AND id = $2 AND revoked IS NULL`

	useKeys = `SELECT use_keys($1, $2)`

	// Until the end of the transaction: which one key there is, whoever's it is.
	setKey = `SELECT set_config('steelyard.key', $1, true), set_config('statement_timeout', $2, true)`
)

// PutKey implements store.Keys.
func (s *Store) PutKey(ctx context.Context, k store.Key, by store.AuditRecord) error {
	b := &pgx.Batch{}
	named(ctx, b, k.Tenant)
	err := queueKey(b, k, by)
	if err == nil {
		err = s.ask(ctx, b)
	}
	return fail(ctx, "put key", err)
}

// queueKey adds a key. A trainee that is not there fails the foreign key, whose
// look at it keeps an erasure waiting until the key is there to be erased too.
func queueKey(b *pgx.Batch, k store.Key, by store.AuditRecord) error {
	scopes, err := json.Marshal(k.Scopes)
	if err != nil {
		return err
	}
	b.Queue(insertTenant, k.Tenant)
	b.Queue(insertKey, k.ID, k.Tenant, nullableText(k.Trainee), free(k.Name), k.Hash, string(scopes),
		k.Created.Unix(), nullableInstant(k.Expires), nullableInstant(k.Revoked), nullableInstant(k.Used))
	queueAudit(b, store.Scope{Tenant: k.Tenant, Trainee: k.Trainee}, by)
	return nil
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
func (s *Store) ListKeys(ctx context.Context, tenant, after string, limit int) ([]store.Key, error) {
	created := int64(math.MinInt64)
	if after != "" {
		b := &pgx.Batch{}
		named(ctx, b, tenant)
		b.Queue(selectKeyCreated, tenant, after).QueryRow(func(r pgx.Row) error { return r.Scan(&created) })
		if err := s.ask(ctx, b); err != nil {
			return nil, fail(ctx, "list keys", err)
		}
	}
	var keys []store.Key
	b := &pgx.Batch{}
	named(ctx, b, tenant)
	b.Queue(selectKeys, tenant, created, after, limit).Query(eachRow(scanKey(&keys)))
	if err := s.ask(ctx, b); err != nil {
		return nil, fail(ctx, "list keys", err)
	}
	return keys, nil
}

// RotateKey implements store.Keys. The new key comes first: that its id is taken is
// told whatever the old one is by now.
func (s *Store) RotateKey(ctx context.Context, old string, ends time.Time, k store.Key, by store.AuditRecord) error {
	return fail(ctx, "rotate key", s.change(ctx, k.Tenant, func(v *view) error {
		b := &pgx.Batch{}
		if err := queueKey(b, k, by); err != nil {
			return err
		}
		if err := v.send(b); err != nil {
			return err
		}
		return v.change(endKey, k.Tenant, old, ends.Unix(), s.now().Unix())
	}))
}

// RevokeKey implements store.Keys.
func (s *Store) RevokeKey(ctx context.Context, tenant, id string, by store.AuditRecord) (store.Key, error) {
	var keys []store.Key
	err := s.change(ctx, tenant, func(v *view) error {
		revoked := int64(0)
		b := &pgx.Batch{}
		b.Queue(revokeKey, tenant, id, s.now().Unix()).Exec(func(tag commandTag) error {
			revoked = tag.RowsAffected()
			return nil
		})
		b.Queue(selectKeyOf, tenant, id).Query(eachRow(scanKey(&keys)))
		if err := v.send(b); err != nil {
			return err
		}
		switch {
		case len(keys) == 0:
			return pgx.ErrNoRows
		case revoked == 0:
			return nil
		}
		b = &pgx.Batch{}
		queueAudit(b, store.Scope{Tenant: tenant, Trainee: keys[0].Trainee}, by)
		return v.send(b)
	})
	if err != nil {
		return store.Key{}, fail(ctx, "revoke key", err)
	}
	return keys[0], nil
}

// change runs f in one write transaction of a tenant.
func (s *Store) change(ctx context.Context, tenant string, f func(*view) error) error {
	v, err := s.open(ctx, store.Scope{Tenant: tenant})
	if err != nil {
		return err
	}
	defer v.end()
	if err := v.start(beginWrite, func(*pgx.Batch) {}); err != nil {
		return err
	}
	if err := f(v); err != nil {
		return err
	}
	return v.commit(nil)
}

// UsedKeys implements store.Keys. The ids go in order, so that two programs that
// note the same ones wait for each other and not crosswise.
func (s *Store) UsedKeys(ctx context.Context, used map[string]time.Time) error {
	ids := slices.Sorted(maps.Keys(used))
	var times []int64
	for _, id := range ids {
		times = append(times, used[id].Unix())
	}
	b := &pgx.Batch{}
	named(ctx, b, "")
	b.Queue(useKeys, ids, times)
	return fail(ctx, "note used keys", s.ask(ctx, b))
}

func scanKey(keys *[]store.Key) func(pgx.Rows) error {
	return func(r pgx.Rows) error {
		var k store.Key
		var trainee pgtype.Text
		var scopes string
		var created int64
		var expires, revoked, used *int64
		if err := r.Scan(&k.ID, &k.Tenant, &trainee, &k.Name, &k.Hash, &scopes, &created, &expires, &revoked, &used); err != nil {
			return err
		}
		k.Trainee, k.Name, k.Created = trainee.String, given(k.Name), instant(created)
		k.Expires, k.Revoked, k.Used = knownInstant(expires), knownInstant(revoked), knownInstant(used)
		*keys = append(*keys, k)
		return json.Unmarshal([]byte(scopes), &(*keys)[len(*keys)-1].Scopes)
	}
}

func nullableText(text string) pgtype.Text { return pgtype.Text{String: text, Valid: text != ""} }

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
