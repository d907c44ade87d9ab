package sqlite

import (
	"context"
	"time"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/service/store"
)

const (
	auditColumns = `id, trainee, at, actor, method, resource`

	insertAudit = `INSERT INTO audit (tenant, ` + auditColumns + `) VALUES (?, ?, ?, ?, ?, ?, ?)`

	selectAudit = `SELECT ` + auditColumns + ` FROM audit
WHERE tenant = ? AND id < ? ORDER BY id DESC LIMIT ?`

	selectAuditOf = `SELECT ` + auditColumns + ` FROM audit
WHERE tenant = ? AND trainee = ? AND id < ? ORDER BY id DESC LIMIT ?`

	// pastAudit sorts after each id.
	pastAudit = "~"
)

// audit adds a record. A trainee that is not there fails the foreign key.
func (c conn) audit(sc store.Scope, r store.AuditRecord) error {
	_, err := c.exec(insertAudit, sc.Tenant, r.ID, nullableText(sc.Trainee), r.At.UnixMilli(), r.Actor, r.Method, r.Resource)
	return err
}

// Audit implements store.Tx.
func (tx *writeTx) Audit(r store.AuditRecord) error {
	return tx.fail("add audit record", tx.conn.audit(tx.scope, r))
}

// AddAudit implements store.Audit.
func (s *Store) AddAudit(ctx context.Context, sc store.Scope, r store.AuditRecord) error {
	return s.write(ctx, func(c conn) error { return fail(ctx, "add audit record", c.audit(sc, r)) })
}

// AuditTrail implements store.Audit.
func (s *Store) AuditTrail(ctx context.Context, tenant string, q store.AuditQuery) ([]store.AuditRecord, error) {
	after := q.After
	if after == "" {
		after = pastAudit
	}
	query, args := selectAudit, []any{tenant, after, q.Limit}
	if q.Trainee != "" {
		query, args = selectAuditOf, []any{tenant, q.Trainee, after, q.Limit}
	}
	var out []store.AuditRecord
	err := s.get(ctx, func(c conn) error {
		return c.each(func(st *driver.Stmt) error {
			out = append(out, store.AuditRecord{
				ID: st.ColumnText(0), Trainee: st.ColumnText(1), At: time.UnixMilli(st.ColumnInt64(2)).UTC(),
				Actor: st.ColumnText(3), Method: st.ColumnText(4), Resource: st.ColumnText(5),
			})
			return nil
		}, query, args...)
	})
	return out, fail(ctx, "read audit trail", err)
}
