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
	selectTrainee = `SELECT incarnation, revision, display_name, time_zone, profile, created, updated
FROM trainee WHERE tenant = ? AND trainee = ?`

	insertTrainee = `INSERT INTO trainee (tenant, trainee, incarnation, revision, display_name, time_zone, profile, created, updated, written)
VALUES (?, ?, ?, 1, ?, ?, ?, ?, ?, ?)`

	updateTrainee = `UPDATE trainee SET display_name = ?, time_zone = ?, profile = ?, updated = ?
WHERE tenant = ? AND trainee = ?`

	selectIdle      = `SELECT written FROM trainee WHERE tenant = ? AND trainee = ? AND written < ?`
	deleteEntries   = `DELETE FROM entry WHERE tenant = ? AND trainee = ?`
	deletePlans     = `DELETE FROM plan WHERE tenant = ? AND trainee = ?`
	deleteDecisions = `DELETE FROM decision WHERE tenant = ? AND trainee = ?`
	deleteTrainee   = `DELETE FROM trainee WHERE tenant = ? AND trainee = ?`
)

// load reads head and trainee with a query that returns the columns of selectTrainee.
func (v *view) load(query string, args ...any) error { return v.row(v.scan, query, args...) }

// scan reads the columns of selectTrainee.
func (v *view) scan(st *driver.Stmt) error {
	profile, err := rows.DecodeProfile(columnBytes(st, 4, nil))
	if err != nil {
		return err
	}
	v.head = store.Head{Incarnation: st.ColumnText(0), Revision: st.ColumnInt64(1)}
	v.trainee = store.Trainee{
		ID: v.scope.Trainee, DisplayName: st.ColumnText(2), TimeZone: st.ColumnText(3), Profile: profile,
		Created: instant(st.ColumnInt64(5)), Updated: instant(st.ColumnInt64(6)),
	}
	return nil
}

// Create implements store.Writes. The id is that of the scope.
func (s *Store) Create(ctx context.Context, sc store.Scope, once store.Once, t store.Trainee, w store.Write) ([]byte, error) {
	return s.once(ctx, sc, once, func(tx *writeTx) error { return tx.create(t) }, w)
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
	tx.trainee = t
	_, err = tx.exec(insertTrainee, tx.scope.Tenant, tx.scope.Trainee, tx.head.Incarnation,
		t.DisplayName, t.TimeZone, profile, tx.now.Unix(), tx.now.Unix(), tx.now.Unix())
	return tx.fail("create trainee", err)
}

// PutTrainee implements store.Tx.
func (tx *writeTx) PutTrainee(t store.Trainee) error {
	profile, err := rows.EncodeProfile(t.Profile)
	if err == nil {
		err = tx.change(updateTrainee, t.DisplayName, t.TimeZone, profile, tx.now.Unix(), tx.scope.Tenant, tx.scope.Trainee)
	}
	if err == nil {
		err = tx.load(selectTrainee, tx.scope.Tenant, tx.scope.Trainee)
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
	h.SetBusyTimeout(0)
	busy, err := h.pragma("wal_checkpoint(TRUNCATE)")
	h.SetBusyTimeout(patience)
	left := err != nil || busy != "0"
	s.residue.Store(left)
	if left {
		s.renewer.wake()
	}
}

// instant is a stored time: Unix seconds, UTC.
func instant(unix int64) time.Time { return time.Unix(unix, 0).UTC() }
