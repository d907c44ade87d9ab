package sqlite

import (
	"context"
	"errors"
	"fmt"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/service/store"
)

const (
	bumpHead = `UPDATE trainee SET revision = revision + 1, written = ? WHERE tenant = ? AND trainee = ?
RETURNING incarnation, revision, display_name, time_zone, profile, created, updated`

	selectOnce = `SELECT body_hash, answer FROM once
WHERE tenant = ? AND trainee = ? AND method = ? AND request_id = ?`

	insertOnce = `INSERT INTO once (tenant, trainee, method, request_id, body_hash, answer, recorded)
VALUES (?, ?, ?, ?, ?, ?, ?)`
)

// errReplay ends a transaction whose answer is on record, so that it leaves no
// trace: not even the bump.
var errReplay = errors.New("replay")

// Update implements store.Store. Nothing of a trainee changes elsewhere: the
// head is taken and bumped by the first statement, then the request id is looked
// up, then w runs, then the answer is recorded, then all of it commits. The due
// talks follow: the raised revision says that they are to be derived.
func (s *Store) Update(ctx context.Context, sc store.Scope, once store.Once, w store.Write) ([]byte, error) {
	return s.once(ctx, sc, once, (*writeTx).bump, w)
}

// once runs take, which takes or makes the head, and then w in one transaction
// with the idempotency record. An answer on record comes before a failure to
// take: the id that a replayed creation finds taken is its own.
func (s *Store) once(ctx context.Context, sc store.Scope, once store.Once, take func(*writeTx) error, w store.Write) ([]byte, error) {
	var encoded []byte
	err := s.write(ctx, func(c conn) error {
		tx := &writeTx{view: view{conn: c, scope: sc}, now: s.now()}
		taken := take(tx)
		found, err := tx.replay(once, &encoded)
		if err != nil {
			return err
		}
		if found {
			return errReplay
		}
		if taken != nil {
			return taken
		}
		answer, err := w(tx)
		if err != nil {
			return err
		}
		if encoded, err = answer(tx.head); err != nil {
			return err
		}
		return tx.record(once, encoded)
	})
	if errors.Is(err, errReplay) {
		return encoded, nil
	}
	if err != nil {
		return nil, err
	}
	s.renewer.wake()
	return encoded, nil
}

// bump takes the head for the rest of the transaction and raises its revision.
func (tx *writeTx) bump() error {
	return tx.fail("take head", tx.load(bumpHead, tx.now.Unix(), tx.scope.Tenant, tx.scope.Trainee))
}

// replay reads the answer on record for a request, if there is one.
func (tx *writeTx) replay(once store.Once, answer *[]byte) (found bool, err error) {
	if once.RequestID == "" {
		return false, nil
	}
	var hash string
	err = tx.row(func(st *driver.Stmt) error {
		hash = st.ColumnText(0)
		*answer = columnBytes(st, 1, nil)
		return nil
	}, selectOnce, tx.scope.Tenant, tx.scope.Trainee, once.Method, once.RequestID)
	switch {
	case errors.Is(err, errNoRow):
		return false, nil
	case err != nil:
		return false, tx.fail("read request id", err)
	case hash != once.BodyHash:
		return false, fmt.Errorf("read request id: %w", store.ErrReused)
	}
	return true, nil
}

// record keeps the answer for replays.
func (tx *writeTx) record(once store.Once, answer []byte) error {
	if once.RequestID == "" {
		return nil
	}
	_, err := tx.exec(insertOnce, tx.scope.Tenant, tx.scope.Trainee, once.Method, once.RequestID, once.BodyHash, answer, tx.now.Unix())
	return tx.fail("record request id", err)
}
