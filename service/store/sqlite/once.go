package sqlite

import (
	"context"
	"errors"
	"fmt"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/service/store"
)

const (
	// The head, and whether there is an answer on record.
	takeHead = `SELECT ` + traineeColumns + `,
EXISTS (SELECT 1 FROM once WHERE trainee_id = id AND method = ?3 AND request_id = ?4)
FROM trainee WHERE tenant = ?1 AND trainee = ?2`

	bumpHead = `UPDATE trainee SET revision = revision + 1, written = ? WHERE tenant = ? AND trainee = ?`

	selectOnce = `SELECT body_hash, answer FROM once WHERE trainee_id = ? AND method = ? AND request_id = ?`

	insertOnce = `INSERT INTO once (trainee_id, method, request_id, body_hash, answer, recorded) VALUES (?, ?, ?, ?, ?, ?)`
)

// errReplay ends a transaction whose answer is on record, so that it leaves no trace.
var errReplay = errors.New("replay")

// Update implements store.Store. Nothing of a trainee changes elsewhere: the head is
// taken, and the request id looked up, by the first statement of a transaction that
// has the write lock; then w runs, then the head is bumped and the answer recorded,
// then all of it commits. So a write that comes to nothing has, as a rule, written
// nothing. The due talks follow: the raised revision says that they are to be derived.
func (s *Store) Update(ctx context.Context, sc store.Scope, once store.Once, w store.Write) ([]byte, error) {
	return s.once(ctx, sc, once, nil, w)
}

// once makes a trainee, or takes the head of the one that is there, and runs w in one
// transaction with the idempotency record. An answer on record comes before a
// failure to take: the id that a replayed creation finds taken is its own.
func (s *Store) once(ctx context.Context, sc store.Scope, once store.Once, created *store.Trainee, w store.Write) ([]byte, error) {
	var encoded []byte
	err := s.write(ctx, func(c conn) error {
		tx := &writeTx{view: view{conn: c, scope: sc}, now: s.now()}
		isReplay, err := tx.take(once, created)
		if isReplay {
			encoded, err = tx.replay(once)
		}
		if err != nil {
			return err
		}
		answer, err := w(tx)
		if err != nil {
			return err
		}
		if encoded, err = answer(tx.head); err != nil {
			return err
		}
		if created == nil {
			if err := tx.bump(); err != nil {
				return err
			}
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

// take sets head and trainee as they will be once this write is stored, unless its
// answer is on record.
func (tx *writeTx) take(once store.Once, created *store.Trainee) (isReplay bool, err error) {
	err = tx.row(func(st *driver.Stmt) error {
		isReplay = st.ColumnBool(8)
		return tx.scan(st)
	}, takeHead, tx.scope.Tenant, tx.scope.Trainee, once.Method, once.RequestID)
	isThere := !errors.Is(err, errNoRow)
	if err != nil && isThere || isReplay {
		return isReplay, tx.fail("take head", err)
	}
	if created == nil {
		tx.head.Revision++
		return false, tx.fail("take head", err)
	}
	if isThere {
		return false, tx.fail("create trainee", store.ErrExists)
	}
	return false, tx.create(*created)
}

// bump raises the stored head to what take has said.
func (tx *writeTx) bump() error {
	return tx.fail("bump head", tx.change(bumpHead, tx.now.Unix(), tx.scope.Tenant, tx.scope.Trainee))
}

// replay returns the answer on record with errReplay.
func (tx *writeTx) replay(once store.Once) (answer []byte, err error) {
	var hash string
	err = tx.row(func(st *driver.Stmt) error {
		hash, answer = st.ColumnText(0), columnBytes(st, 1, nil)
		return nil
	}, selectOnce, tx.id, once.Method, once.RequestID)
	if err != nil {
		return nil, tx.fail("read request id", err)
	}
	if hash != once.BodyHash {
		return nil, fmt.Errorf("read request id: %w", store.ErrReused)
	}
	return answer, errReplay
}

// record keeps the answer for replays.
func (tx *writeTx) record(once store.Once, answer []byte) error {
	if once.RequestID == "" {
		return nil
	}
	_, err := tx.exec(insertOnce, tx.id, once.Method, once.RequestID, once.BodyHash, answer, tx.now.Unix())
	return tx.fail("record request id", err)
}
