package postgres

import (
	"context"
	"errors"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/service/store"
)

const (
	insertTenant = `INSERT INTO tenant (tenant) VALUES ($1) ON CONFLICT DO NOTHING`

	selectIdleDays = `SELECT idle_days FROM tenant WHERE tenant = $1`
	upsertIdleDays = `INSERT INTO tenant (tenant, idle_days) VALUES ($1, $2)
ON CONFLICT (tenant) DO UPDATE SET idle_days = excluded.idle_days`

	// Which tenants there are is looked for in a transaction that says so.
	selectTenants = `SELECT tenant, idle_days FROM tenant ORDER BY tenant`

	// It walks the trainees of a tenant: with an index by the time of the last write
	// each write would have to change every index of its row.
	selectIdleTrainees = `SELECT trainee FROM trainee WHERE tenant = $1 AND written < $2 ORDER BY trainee LIMIT $3`

	// What another program is removing is left to it.
	deleteOldOnces = `DELETE FROM once WHERE tenant = $1 AND ctid = ANY (ARRAY(
SELECT ctid FROM once WHERE tenant = $1 AND recorded < $2 ORDER BY recorded LIMIT $3 FOR UPDATE SKIP LOCKED))`

	deleteOldAudit = `DELETE FROM audit WHERE tenant = $1 AND ctid = ANY (ARRAY(
SELECT ctid FROM audit WHERE tenant = $1 AND id < $2 ORDER BY id LIMIT $3 FOR UPDATE SKIP LOCKED))`
)

// IdleDays implements store.Retention.
func (s *Store) IdleDays(ctx context.Context, tenant string) (days int, err error) {
	b := &pgx.Batch{}
	named(ctx, b, tenant)
	b.Queue(selectIdleDays, tenant).Query(eachRow(func(r pgx.Rows) error { return r.Scan(&days) }))
	return days, fail(ctx, "read retention", s.ask(ctx, b))
}

// SetIdleDays implements store.Retention.
func (s *Store) SetIdleDays(ctx context.Context, tenant string, days int, by store.AuditRecord) error {
	b := &pgx.Batch{}
	named(ctx, b, tenant)
	b.Queue(upsertIdleDays, tenant, days)
	queueAudit(b, store.Scope{Tenant: tenant}, by)
	return fail(ctx, "set retention", s.ask(ctx, b))
}

// Sweep implements store.Retention: tenant by tenant, so that the row policies hold
// here as everywhere.
func (s *Store) Sweep(ctx context.Context, q store.SweepQuery) (out store.Swept, err error) {
	tenants, err := s.tenants(ctx)
	if err != nil {
		return out, fail(ctx, "list tenants", err)
	}
	for _, t := range tenants {
		if err := s.sweepRows(ctx, t.name, q, &out); err != nil {
			return out, fail(ctx, "sweep", err)
		}
		if err := s.eraseIdle(ctx, t, q, &out); err != nil {
			return out, fail(ctx, "erase the idle", err)
		}
	}
	out.More = len(out.Erased) >= q.Limit || out.RequestIDs >= q.Limit || out.Audit >= q.Limit
	return out, nil
}

// keeper is a tenant and how long it keeps its trainees.
type keeper struct {
	name     string
	idleDays int
}

func (s *Store) tenants(ctx context.Context) ([]keeper, error) {
	var out []keeper
	b := &pgx.Batch{}
	b.Queue(setUpkeep)
	b.Queue(selectTenants).Query(eachRow(func(r pgx.Rows) error {
		var t keeper
		err := r.Scan(&t.name, &t.idleDays)
		out = append(out, t)
		return err
	}))
	return out, s.ask(ctx, b)
}

// sweepRows removes old request ids and audit records of a tenant, as many as out
// leaves to remove.
func (s *Store) sweepRows(ctx context.Context, tenant string, q store.SweepQuery, out *store.Swept) error {
	var onces, records int
	b := &pgx.Batch{}
	named(ctx, b, tenant)
	removed := func(n *int) func(commandTag) error {
		return func(tag commandTag) error {
			*n = int(tag.RowsAffected())
			return nil
		}
	}
	b.Queue(deleteOldOnces, tenant, q.RequestIDsBefore.Unix(), q.Limit-out.RequestIDs).Exec(removed(&onces))
	b.Queue(deleteOldAudit, tenant, store.FirstAuditID(q.AuditBefore), q.Limit-out.Audit).Exec(removed(&records))
	if err := s.ask(ctx, b); err != nil {
		return err
	}
	out.RequestIDs += onces
	out.Audit += records
	return nil
}

// eraseIdle erases who of a tenant was idle for too long. One that was written
// meanwhile, or erased by another program, stays out.
func (s *Store) eraseIdle(ctx context.Context, t keeper, q store.SweepQuery, out *store.Swept) error {
	if t.idleDays == 0 {
		return nil
	}
	before := q.IdleBefore(t.idleDays).Unix()
	var idle []store.Scope
	b := &pgx.Batch{}
	named(ctx, b, t.name)
	b.Queue(selectIdleTrainees, t.name, before, q.Limit-len(out.Erased)).Query(eachRow(func(r pgx.Rows) error {
		sc := store.Scope{Tenant: t.name}
		err := r.Scan(&sc.Trainee)
		idle = append(idle, sc)
		return err
	}))
	if err := s.ask(ctx, b); err != nil {
		return err
	}
	for _, sc := range idle {
		switch _, err := s.erase(ctx, sc, before, q.Erasure(sc)); {
		case err == nil:
			out.Erased = append(out.Erased, sc)
		case !errors.Is(err, pgx.ErrNoRows):
			return err
		}
	}
	return nil
}
