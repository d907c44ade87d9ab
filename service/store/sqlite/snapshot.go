package sqlite

import (
	"context"
	"errors"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

const selectHead = `SELECT incarnation, revision FROM trainee WHERE tenant = ? AND trainee = ?`

// Head implements store.Snapshots.
func (s *Store) Head(ctx context.Context, sc store.Scope) (store.Head, error) {
	var h store.Head
	err := s.get(ctx, func(c conn) error {
		return c.row(func(st *driver.Stmt) error {
			h = store.Head{Incarnation: st.ColumnText(0), Revision: st.ColumnInt64(1)}
			return nil
		}, selectHead, sc.Tenant, sc.Trainee)
	})
	return h, fail(ctx, "read head", err)
}

// Snapshot implements store.Snapshots.
func (s *Store) Snapshot(ctx context.Context, sc store.Scope, first engine.Day) (store.Snapshot, error) {
	var snap store.Snapshot
	err := s.read(ctx, sc, func(v *view) error {
		snap.Head = v.head
		var err error
		if snap.Trainee, err = v.Trainee(); err != nil {
			return err
		}
		plan, err := v.plan(selectOpenPlan)
		switch {
		case err == nil:
			snap.Plan = &plan
		case !errors.Is(err, errNoRow):
			return v.fail("read open plan", err)
		}
		snap.Window, err = v.window(first)
		return v.fail("read window", err)
	})
	if err != nil {
		return store.Snapshot{}, err
	}
	return snap, nil
}

// View implements store.Reads.
func (s *Store) View(ctx context.Context, sc store.Scope, f func(store.View) error) error {
	return s.read(ctx, sc, func(v *view) error { return f(v) })
}
