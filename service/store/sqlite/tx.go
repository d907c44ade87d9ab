package sqlite

import (
	"context"
	"time"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/internal/rows"
)

// view is one read transaction on one trainee.
type view struct {
	conn
	scope   store.Scope
	id      int64 // of the trainee in this file; read with the head
	head    store.Head
	trainee store.Trainee // without the profile
	profile []byte        // as it is stored
}

var _ store.View = (*view)(nil)

// Head implements store.View.
func (v *view) Head() store.Head { return v.head }

// TimeZone implements store.View.
func (v *view) TimeZone() string { return v.trainee.TimeZone }

// Trainee implements store.View.
func (v *view) Trainee() (store.Trainee, error) {
	t := v.trainee
	var err error
	if t.Profile, err = rows.DecodeProfile(v.profile); err != nil {
		return store.Trainee{}, v.fail("read trainee", err)
	}
	return t, nil
}

// fail wraps an error with the action, in the store's sentinels.
func (v *view) fail(action string, err error) error { return fail(v.ctx, action, err) }

// writeTx is one write transaction on one trainee, at one instant.
type writeTx struct {
	view
	now time.Time
}

var _ store.Tx = (*writeTx)(nil)

// get runs f on a connection that reads.
func (s *Store) get(ctx context.Context, f func(conn) error) error {
	h, err := s.reader.take(ctx)
	if err != nil {
		return err
	}
	defer s.reader.put(h)
	return f(conn{ctx, h})
}

// read runs f in one read transaction. It sees the state that the trainee's row is
// read of until the end: outside of BEGIN and COMMIT, whose price it saves, a
// transaction lasts as long as a statement that has not come to its end.
func (s *Store) read(ctx context.Context, sc store.Scope, f func(*view) error) error {
	h, err := s.reader.take(ctx)
	if err != nil {
		return fail(ctx, "begin read", err)
	}
	defer s.reader.put(h)
	v := &view{conn: conn{ctx, h}, scope: sc}
	st, err := v.bind(selectTrainee, []any{sc.Tenant, sc.Trainee})
	if err != nil {
		return v.fail("read trainee", err)
	}
	defer st.Reset() // the end of the transaction
	found, err := st.Step()
	switch {
	case err == nil && found:
		err = v.scan(st)
	case err == nil:
		err = errNoRow
	}
	if err != nil {
		return v.fail("read trainee", err)
	}
	return f(v)
}
