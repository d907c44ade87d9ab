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
	v := &view{conn: conn{ctx, tx, s.reads}, scope: sc}
	if err := v.load(selectTrainee); err != nil {
		return v.fail("read trainee", err)
	}
	return f(v)
}

// write runs f in one write transaction. Writes queue for the only connection;
// the wait ends with the context. f must not write through the store again: it
// would wait for itself.
func (s *Store) write(ctx context.Context, f func(conn) error) error {
	tx, err := s.writer.BeginTx(ctx, nil)
	if err != nil {
		return fail(ctx, "begin write", err)
	}
	defer tx.Rollback() // also when f panics; nothing after the commit
	if err := f(conn{ctx, tx, s.writes}); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return fail(ctx, "commit", err)
	}
	if s.residue.Load() {
		s.forget(ctx)
	}
	return nil
}
