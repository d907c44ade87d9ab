package sqlite

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"math"
	"time"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	traineeColumns = `id, incarnation, revision, display_name, time_zone, profile, created, updated`

	selectTrainee = `SELECT ` + traineeColumns + ` FROM trainee WHERE tenant = ? AND trainee = ?`

	// No id is given twice.
	nextTraineeID = `UPDATE last_trainee_id SET id = id + 1 RETURNING id`

	insertTrainee = `INSERT INTO trainee (tenant, trainee, id, incarnation, revision, display_name, time_zone, profile, created, updated, written)
VALUES (?, ?, ?, ?, 1, ?, ?, ?, ?, ?, ?)`

	updateTrainee = `UPDATE trainee SET display_name = ?, time_zone = ?, profile = ?, updated = ?
WHERE tenant = ? AND trainee = ?`

	selectIdle      = `SELECT written FROM trainee WHERE tenant = ? AND trainee = ? AND written < ?`
	deleteEntries   = `DELETE FROM entry WHERE trainee_id = (SELECT id FROM trainee WHERE tenant = ? AND trainee = ?)`
	deletePlans     = `DELETE FROM plan WHERE tenant = ? AND trainee = ?`
	deleteDecisions = `DELETE FROM decision WHERE tenant = ? AND trainee = ?`
	deleteTrainee   = `DELETE FROM trainee WHERE tenant = ? AND trainee = ?`
)

// load reads head and trainee with a query that returns traineeColumns first.
func (v *view) load(query string, args ...any) error { return v.row(v.scan, query, args...) }

// scan reads traineeColumns.
func (v *view) scan(st *driver.Stmt) error {
	v.id = st.ColumnInt64(0)
	v.head = store.Head{Incarnation: st.ColumnText(1), Revision: st.ColumnInt64(2)}
	v.trainee = store.Trainee{
		ID: v.scope.Trainee, DisplayName: st.ColumnText(3), TimeZone: st.ColumnText(4),
		Created: instant(st.ColumnInt64(6)), Updated: instant(st.ColumnInt64(7)),
	}
	v.profile = columnBytes(st, 5, nil)
	return nil
}

// Create implements store.Writes. The id is that of the scope.
func (s *Store) Create(ctx context.Context, sc store.Scope, once store.Once, t store.Trainee, w store.Write) ([]byte, error) {
	return s.once(ctx, sc, once, &t, w)
}

func (tx *writeTx) create(t store.Trainee) error {
	profile, err := rows.EncodeProfile(t.Profile)
	if err != nil {
		return tx.fail("create trainee", err)
	}
	var random [16]byte
	rand.Read(random[:])
	tx.head = store.Head{Incarnation: hex.EncodeToString(random[:]), Revision: 1}
	t.ID, t.Created, t.Updated = tx.scope.Trainee, tx.now, tx.now
	tx.trainee, tx.profile = t, []byte(profile)
	err = tx.row(func(st *driver.Stmt) error {
		tx.id = st.ColumnInt64(0)
		return nil
	}, nextTraineeID)
	if err == nil {
		_, err = tx.exec(insertTrainee, tx.scope.Tenant, tx.scope.Trainee, tx.id, tx.head.Incarnation,
			t.DisplayName, t.TimeZone, profile, tx.now.Unix(), tx.now.Unix(), tx.now.Unix())
	}
	return tx.fail("create trainee", err)
}

// PutTrainee implements store.Tx.
func (tx *writeTx) PutTrainee(t store.Trainee) error {
	profile, err := rows.EncodeProfile(t.Profile)
	if err == nil {
		err = tx.change(updateTrainee, t.DisplayName, t.TimeZone, profile, tx.now.Unix(), tx.scope.Tenant, tx.scope.Trainee)
	}
	if err == nil {
		head := tx.head // as it will be
		err = tx.load(selectTrainee, tx.scope.Tenant, tx.scope.Trainee)
		tx.head = head
	}
	return tx.fail("put trainee", err)
}

// Erase implements store.Writes.
func (s *Store) Erase(ctx context.Context, sc store.Scope, by store.AuditRecord) (store.Erased, error) {
	return s.erase(ctx, sc, math.MaxInt64, by)
}

// erase removes a trainee that nothing was written of since a time. The rows that
// are counted are removed by name, all others by their foreign keys.
func (s *Store) erase(ctx context.Context, sc store.Scope, writtenBefore int64, by store.AuditRecord) (store.Erased, error) {
	var erased store.Erased
	err := s.write(ctx, func(c conn) error {
		if err := c.row(anything, selectIdle, sc.Tenant, sc.Trainee, writtenBefore); err != nil {
			return fail(ctx, "erase", err)
		}
		for _, step := range []struct {
			query string
			count *int
		}{{deleteEntries, &erased.Entries}, {deleteDecisions, &erased.Decisions}, {deletePlans, &erased.Plans}} {
			n, err := c.exec(step.query, sc.Tenant, sc.Trainee)
			if err != nil {
				return fail(ctx, "erase", err)
			}
			*step.count = n
		}
		if err := c.change(deleteTrainee, sc.Tenant, sc.Trainee); err != nil {
			return fail(ctx, "erase", err)
		}
		return fail(ctx, "erase", c.audit(store.Scope{Tenant: sc.Tenant}, by))
	})
	if err != nil {
		return store.Erased{}, err
	}
	s.forget(ctx)
	return erased, nil
}

// forget brings the write-ahead log home and empties it: it still holds older
// copies of erased pages.
func (s *Store) forget(ctx context.Context) {
	s.residue.Store(true)
	h, err := s.writer.take(ctx)
	if err != nil {
		return
	}
	defer s.writer.put(h)
	s.settle(h)
}

// settle does what an erasure has left to do, and waits for nobody. While a reader
// stands on an older state it cannot be done; the writes that follow try again, and
// the renewer does.
func (s *Store) settle(h *handle) {
	if !s.residue.Load() {
		return
	}
	busy, err := h.pragma("wal_checkpoint(TRUNCATE)")
	left := err != nil || busy != "0"
	s.residue.Store(left)
	if left {
		s.renewer.wake()
	}
}

// instant is a stored time: Unix seconds, UTC.
func instant(unix int64) time.Time { return time.Unix(unix, 0).UTC() }
