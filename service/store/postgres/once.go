package postgres

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"example.com/steelyard/service/store"
)

const (
	bumpHead = `UPDATE trainee SET revision = revision + 1, written = $3 WHERE tenant = $1 AND trainee = $2 RETURNING ` + traineeColumns

	selectOnce = `SELECT body_hash, answer FROM once
WHERE tenant = $1 AND trainee = $2 AND method = $3 AND request_id = $4`

	insertOnce = `INSERT INTO once (tenant, trainee, method, request_id, body_hash, answer, recorded)
VALUES ($1, $2, $3, $4, $5, $6, $7)`
)

// commandTag is what a statement says it did.
type commandTag = pgconn.CommandTag

// taking is how a write takes the head for the rest of its transaction: by the row
// that its statement returns, traineeColumns. No row is the error none.
type taking struct {
	action string
	none   error
	queue  func(b *pgx.Batch, now time.Time) *pgx.QueuedQuery
}

// Update implements store.Store. Nothing of a trainee changes elsewhere: the head
// is taken and bumped by the first statement, which waits for every other write on
// the trainee, then the request id is looked up, then w runs, then the answer is
// recorded and the due talks are left to be derived, then all of it commits.
func (s *Store) Update(ctx context.Context, sc store.Scope, once store.Once, w store.Write) ([]byte, error) {
	return s.once(ctx, sc, once, taking{
		action: "take head", none: store.ErrNotFound,
		queue: func(b *pgx.Batch, now time.Time) *pgx.QueuedQuery {
			return b.Queue(bumpHead, sc.Tenant, sc.Trainee, now.Unix())
		},
	}, w)
}

// once takes the head and runs w in one transaction with the idempotency record.
// An answer on record comes before a failure to take: the id that a replayed
// creation finds taken is its own.
func (s *Store) once(ctx context.Context, sc store.Scope, once store.Once, take taking, w store.Write) ([]byte, error) {
	v, err := s.open(ctx, sc)
	if err != nil {
		return nil, fail(ctx, "begin write", err)
	}
	defer v.end() // also when w panics; nothing after the commit
	tx := &writeTx{view: *v, now: s.now()}
	taken := false
	var record *recorded
	err = tx.start(beginWrite, func(b *pgx.Batch) {
		take.queue(b, tx.now).QueryRow(func(r pgx.Row) error {
			err := tx.scanTrainee(r)
			if taken = err == nil; errors.Is(err, pgx.ErrNoRows) {
				err = nil
			}
			return err
		})
		if once.RequestID != "" {
			b.Queue(selectOnce, sc.Tenant, sc.Trainee, once.Method, once.RequestID).Query(eachRow(func(r pgx.Rows) error {
				record = &recorded{}
				return r.Scan(&record.hash, &record.answer)
			}))
		}
	})
	switch {
	case err != nil:
		return nil, tx.fail(take.action, err)
	case record != nil && record.hash != once.BodyHash:
		return nil, fmt.Errorf("read request id: %w", store.ErrReused)
	case record != nil:
		return record.answer, nil // rolled back: a replay leaves no trace, not even the bump
	case !taken:
		return nil, tx.fail(take.action, take.none)
	}
	encoded, err := tx.run(once, w)
	if err == nil {
		s.renewer.written()
	}
	return encoded, err
}

// recorded is the answer on record for a request.
type recorded struct {
	hash   string
	answer []byte
}

// run is what a write does once it has the head.
func (tx *writeTx) run(once store.Once, w store.Write) ([]byte, error) {
	answer, err := w(tx)
	if err != nil {
		return nil, err
	}
	encoded, err := answer(tx.head)
	if err != nil {
		return nil, err
	}
	err = tx.commit(func(b *pgx.Batch) {
		b.Queue(markStale, tx.scope.Tenant, tx.scope.Trainee)
		if once.RequestID == "" {
			return
		}
		kept := encoded
		if kept == nil {
			kept = []byte{} // nil would be stored as NULL
		}
		b.Queue(insertOnce, tx.scope.Tenant, tx.scope.Trainee, once.Method, once.RequestID, once.BodyHash, kept, tx.now.Unix())
	})
	if err != nil {
		return nil, tx.fail("commit", err)
	}
	return encoded, nil
}
