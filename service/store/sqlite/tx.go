package sqlite

import (
	"context"
	"database/sql"
	"time"

	"example.com/steelyard/service/store"
)

// view is one read transaction on one trainee.
type view struct {
	conn
	scope   store.Scope
	head    store.Head
	trainee store.Trainee
}

var _ store.View = (*view)(nil)

// Head implements store.View.
func (v *view) Head() store.Head { return v.head }

// Trainee implements store.View.
func (v *view) Trainee() store.Trainee { return v.trainee }

// fail wraps an error with the action, in the store's sentinels.
func (v *view) fail(action string, err error) error { return fail(v.ctx, action, err) }

// writeTx is one write transaction on one trainee, at one instant.
type writeTx struct {
	view
	now time.Time
}

var _ store.Tx = (*writeTx)(nil)

// read runs f in one read transaction. A read transaction sees the state of its
// first statement until its end.
func (s *Store) read(ctx context.Context, sc store.Scope, f func(*view) error) error {
	tx, err := s.reader.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return fail(ctx, "begin read", err)
	}
	defer tx.Rollback() // it wrote nothing
	v := &view{conn: conn{ctx: ctx, tx: tx, stmts: s.reads}, scope: sc}
	if err := v.load(selectTrainee); err != nil {
		return v.fail("read trainee", err)
	}
	return f(v)
}
