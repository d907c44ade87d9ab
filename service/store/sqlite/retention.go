package sqlite

import (
	"context"
	"errors"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/service/store"
)

const (
	selectIdleDays  = `SELECT idle_days FROM retention WHERE tenant = ?`
	upsertRetention = `INSERT INTO retention (tenant, idle_days) VALUES (?, ?)
ON CONFLICT (tenant) DO UPDATE SET idle_days = excluded.idle_days`

	// What is over is looked for over all tenants.
	selectRetention = `SELECT tenant, idle_days FROM retention WHERE idle_days > 0`

	// It walks the trainees of a tenant: an index by the time of the last write would
	// cost each write more than this costs in an hour.
	selectIdleTrainees = `SELECT trainee FROM trainee WHERE tenant = ? AND written < ? ORDER BY trainee LIMIT ?`

	// Rows come in the order of time, so that the oldest are the first of the table.
	deleteOldOnces = `DELETE FROM once WHERE rowid IN
(SELECT rowid FROM (SELECT rowid, recorded FROM once ORDER BY rowid LIMIT ?) WHERE recorded < ?)`

	deleteOldAudit = `DELETE FROM audit WHERE rowid IN (SELECT rowid FROM audit WHERE id < ? LIMIT ?)`
)

// IdleDays implements store.Retention.
func (s *Store) IdleDays(ctx context.Context, tenant string) (days int, err error) {
	err = s.get(ctx, func(c conn) error {
		return c.row(func(st *driver.Stmt) error {
			days = st.ColumnInt(0)
			return nil
		}, selectIdleDays, tenant)
	})
	if errors.Is(err, errNoRow) {
		return 0, nil
	}
	return days, fail(ctx, "read retention", err)
}

// SetIdleDays implements store.Retention.
func (s *Store) SetIdleDays(ctx context.Context, tenant string, days int, by store.AuditRecord) error {
	return s.write(ctx, func(c conn) error {
		_, err := c.exec(upsertRetention, tenant, days)
		if err == nil {
			err = c.audit(store.Scope{Tenant: tenant}, by)
		}
		return fail(ctx, "set retention", err)
	})
}

// Sweep implements store.Retention. Each kind has transactions of its own, so that
// other writes come between.
func (s *Store) Sweep(ctx context.Context, q store.SweepQuery) (store.Swept, error) {
	var out store.Swept
	err := s.eraseIdle(ctx, q, &out)
	if err == nil {
		out.RequestIDs, err = s.sweepRows(ctx, deleteOldOnces, q.Limit, q.RequestIDsBefore.Unix())
	}
	if err == nil {
		out.Audit, err = s.sweepRows(ctx, deleteOldAudit, store.FirstAuditID(q.AuditBefore), q.Limit)
	}
	out.More = len(out.Erased) >= q.Limit || out.RequestIDs >= q.Limit || out.Audit >= q.Limit
	return out, err
}

func (s *Store) sweepRows(ctx context.Context, query string, args ...any) (n int, err error) {
	err = s.write(ctx, func(c conn) error {
		removed, err := c.exec(query, args...)
		n = removed
		return fail(ctx, "sweep", err)
	})
	if err != nil {
		return 0, err
	}
	return n, nil
}

// eraseIdle erases who was idle for too long. One that was written meanwhile, or
// erased by another program, stays out.
func (s *Store) eraseIdle(ctx context.Context, q store.SweepQuery, out *store.Swept) error {
	idle, err := s.idle(ctx, q)
	if err != nil {
		return fail(ctx, "find idle trainees", err)
	}
	for _, i := range idle {
		switch _, err := s.erase(ctx, i.Scope, i.before, q.Erasure(i.Scope)); {
		case err == nil:
			out.Erased = append(out.Erased, i.Scope)
		case !errors.Is(err, store.ErrNotFound):
			return err
		}
	}
	return nil
}

// idleTrainee is one that nothing was written of since before.
type idleTrainee struct {
	store.Scope
	before int64
}

func (s *Store) idle(ctx context.Context, q store.SweepQuery) ([]idleTrainee, error) {
	before := map[string]int64{}
	var out []idleTrainee
	err := s.get(ctx, func(c conn) error {
		err := c.each(func(st *driver.Stmt) error {
			before[st.ColumnText(0)] = q.IdleBefore(st.ColumnInt(1)).Unix()
			return nil
		}, selectRetention)
		for tenant, since := range before {
			if err != nil || len(out) >= q.Limit {
				break
			}
			err = c.each(func(st *driver.Stmt) error {
				out = append(out, idleTrainee{store.Scope{Tenant: tenant, Trainee: st.ColumnText(0)}, since})
				return nil
			}, selectIdleTrainees, tenant, since, q.Limit-len(out))
		}
		return err
	})
	return out, err
}
