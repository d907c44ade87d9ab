package sqlite

import (
	"cmp"
	"context"
	"errors"
	"time"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/service/store"
)

// Due talks are derived after the write, not in it: they cost more than the write
// itself, and of many writes to one trainee only the last one's matter. A trainee's
// row says at which revision it was done last, so a write needs no statement of its
// own to leave them to do, and nothing forgets them: whoever asks for the list
// derives what is left, the renewer does soon after a write, and after a crash both
// go on.

const (
	// Trainees whose due talks are of an older revision; the index has no others.
	selectStale = `SELECT tenant, trainee FROM trainee
WHERE due_revision <> revision AND (tenant, trainee) > (?, ?) ORDER BY tenant, trainee LIMIT ?`

	selectStaleOf = `SELECT tenant, trainee FROM trainee
WHERE due_revision <> revision AND tenant = ? AND trainee > ? ORDER BY trainee LIMIT ?`

	markDerived = `UPDATE trainee SET due_revision = revision
WHERE tenant = ? AND trainee = ? AND incarnation = ? AND revision = ?`

	deleteDueOf = `DELETE FROM due_talk WHERE tenant = ? AND trainee = ?`

	insertDue = `INSERT INTO due_talk (tenant, trainee, seq, reason, from_day, until_day, plan, line) VALUES (?, ?, ?, ?, ?, ?, ?, ?)`
)

const (
	// renewAfter is how long the renewer waits after a write, for more of them.
	renewAfter = time.Second
	// scopeBatch bounds how many trainees are read at once, and one transaction is about.
	scopeBatch = 100
)

// renewer is the goroutine that derives due talks soon after writes.
type renewer struct {
	wakeups chan struct{}
	cancel  context.CancelFunc
	done    chan struct{}
}

// startRenewing begins with what a crash or an update of the program has left to do.
func (s *Store) startRenewing() {
	ctx, cancel := context.WithCancel(context.Background())
	s.renewer = renewer{wakeups: make(chan struct{}, 1), cancel: cancel, done: make(chan struct{})}
	s.renewer.wake()
	go func() {
		defer close(s.renewer.done)
		s.keepRenewing(ctx)
	}()
}

// wake has the renewer look for work.
func (r *renewer) wake() {
	select {
	case r.wakeups <- struct{}{}:
	default: // it will anyway
	}
}

// stop ends the renewer, if it was started, and waits for it.
func (r *renewer) stop() {
	if r.cancel != nil {
		r.cancel()
		<-r.done
	}
}

func (s *Store) keepRenewing(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-s.renewer.wakeups:
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(renewAfter):
		}
		// What fails stays to be done: the next write wakes it again, and the list
		// does not rest on it.
		_ = s.renewFrom(ctx, selectStale, store.Scope{})
		if s.residue.Load() {
			s.forget(ctx)
		}
	}
}

// renewTenant derives the due talks of all trainees of a tenant that were written
// since they were derived.
func (s *Store) renewTenant(ctx context.Context, tenant string) error {
	return s.renewFrom(ctx, selectStaleOf, store.Scope{Tenant: tenant})
}

// renewFrom goes once through the trainees that a query finds after a place. What
// is done stays done when it is interrupted, and one that cannot be derived does not
// keep the rest from it: the first error is told at the end. No head moves, for
// nothing that the engine reads has changed.
func (s *Store) renewFrom(ctx context.Context, query string, after store.Scope) error {
	var first error
	for {
		stale, err := s.scopes(ctx, query, after)
		if err != nil {
			return fail(ctx, "read stale due talks", err)
		}
		if len(stale) == 0 {
			return first
		}
		if err := s.renew(ctx, stale); err != nil {
			if ctx.Err() != nil || errors.Is(err, store.ErrUnavailable) {
				return err
			}
			first = cmp.Or(first, err)
		}
		after = stale[len(stale)-1]
	}
}

// scopes reads the first trainees that a query finds after a place.
func (s *Store) scopes(ctx context.Context, query string, after store.Scope) ([]store.Scope, error) {
	var out []store.Scope
	err := s.get(ctx, func(c conn) error {
		return c.each(func(st *driver.Stmt) error {
			out = append(out, store.Scope{Tenant: st.ColumnText(0), Trainee: st.ColumnText(1)})
			return nil
		}, query, after.Tenant, after.Trainee, scopeBatch)
	})
	return out, err
}

// renewal is what was derived of a trainee, and at which head.
type renewal struct {
	scope    store.Scope
	head     store.Head
	talks    []dueRow
	isStored bool // they are the stored ones: only the revision is to be noted
}

// renew derives before it takes the writer, and writes what has changed.
func (s *Store) renew(ctx context.Context, scopes []store.Scope) error {
	var todo []renewal
	var first error
	for _, sc := range scopes {
		err := s.read(ctx, sc, func(v *view) error {
			r, err := v.renewal()
			if err == nil {
				todo = append(todo, r)
			}
			return err
		})
		if !errors.Is(err, store.ErrNotFound) { // erased meanwhile
			first = cmp.Or(first, err)
		}
	}
	err := s.write(ctx, func(c conn) error {
		for _, r := range todo {
			if err := c.keepDue(r); err != nil {
				return fail(ctx, "replace due talks", err)
			}
		}
		return nil
	})
	return cmp.Or(first, err)
}

func (v *view) renewal() (renewal, error) {
	talks, isStored, err := v.deriveDue()
	return renewal{v.scope, v.head, talks, isStored}, err
}

// keepDue stores what was derived of a trainee. If the head has moved meanwhile it
// is derived once more, now that nothing can move it.
func (c conn) keepDue(r renewal) error {
	isPresent, err := c.markDerived(r)
	if err == nil && !isPresent {
		v := &view{conn: c, scope: r.scope}
		if err = v.load(selectTrainee, r.scope.Tenant, r.scope.Trainee); errors.Is(err, errNoRow) {
			return nil // erased meanwhile
		}
		if err == nil {
			r, err = v.renewal()
		}
		if err == nil {
			_, err = c.markDerived(r)
		}
	}
	if err != nil || r.isStored {
		return err
	}
	if _, err := c.exec(deleteDueOf, r.scope.Tenant, r.scope.Trainee); err != nil {
		return err
	}
	for i, d := range r.talks {
		_, err := c.exec(insertDue, r.scope.Tenant, r.scope.Trainee, i+1, int64(d.Reason), int64(d.From), nullableDay(d.Until), d.plan, d.Line)
		if err != nil {
			return err
		}
	}
	return nil
}

// markDerived notes the revision, and reports whether it is the present one.
func (c conn) markDerived(r renewal) (bool, error) {
	n, err := c.exec(markDerived, r.scope.Tenant, r.scope.Trainee, r.head.Incarnation, r.head.Revision)
	return n == 1, err
}
