package postgres

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"example.com/steelyard/service/store"
)

const (
	auditColumns = `id, trainee, at, actor, method, resource`

	insertAudit = `INSERT INTO audit (tenant, ` + auditColumns + `) VALUES ($1, $2, $3, $4, $5, $6, $7)`

	selectAudit = `SELECT ` + auditColumns + ` FROM audit
WHERE tenant = $1 AND id < $2 ORDER BY id DESC LIMIT $3`

	selectAuditOf = `SELECT ` + auditColumns + ` FROM audit
WHERE tenant = $1 AND trainee = $4 AND id < $2 ORDER BY id DESC LIMIT $3`

	// pastAudit sorts after each id.
	pastAudit = "~"
)

// queueAudit adds a record. A trainee that is not there fails the foreign key.
func queueAudit(b *pgx.Batch, sc store.Scope, r store.AuditRecord) {
	b.Queue(insertAudit, sc.Tenant, r.ID, nullableText(sc.Trainee), r.At.UnixMilli(), free(r.Actor), r.Method, free(r.Resource))
}

// Audit implements store.Tx.
func (tx *writeTx) Audit(r store.AuditRecord) error {
	b := &pgx.Batch{}
	queueAudit(b, tx.scope, r)
	return tx.fail("add audit record", tx.send(b))
}

// AddAudit implements store.Audit.
func (s *Store) AddAudit(ctx context.Context, sc store.Scope, r store.AuditRecord) error {
	b := &pgx.Batch{}
	named(ctx, b, sc.Tenant)
	b.Queue(insertTenant, sc.Tenant)
	queueAudit(b, sc, r)
	return fail(ctx, "add audit record", s.ask(ctx, b))
}

// AuditTrail implements store.Audit.
func (s *Store) AuditTrail(ctx context.Context, tenant string, q store.AuditQuery) ([]store.AuditRecord, error) {
	after := q.After
	if after == "" {
		after = pastAudit
	}
	query, args := selectAudit, []any{tenant, after, q.Limit}
	if q.Trainee != "" {
		query, args = selectAuditOf, append(args, q.Trainee)
	}
	var out []store.AuditRecord
	b := &pgx.Batch{}
	named(ctx, b, tenant)
	b.Queue(query, args...).Query(eachRow(func(rows pgx.Rows) error {
		var r store.AuditRecord
		var trainee pgtype.Text
		var at int64
		err := rows.Scan(&r.ID, &trainee, &at, &r.Actor, &r.Method, &r.Resource)
		r.Trainee, r.At, r.Actor, r.Resource = trainee.String, time.UnixMilli(at).UTC(), given(r.Actor), given(r.Resource)
		out = append(out, r)
		return err
	}))
	if err := s.ask(ctx, b); err != nil {
		return nil, fail(ctx, "read audit trail", err)
	}
	return out, nil
}
