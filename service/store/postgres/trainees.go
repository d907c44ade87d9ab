package postgres

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"math"
	"time"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	traineeColumns = `incarnation, revision, display_name, time_zone, profile, created, updated`

	selectTrainee = `SELECT ` + traineeColumns + ` FROM trainee WHERE tenant = $1 AND trainee = $2`

	// A conflict must not end the transaction: the answer on record comes first.
	insertTrainee = `INSERT INTO trainee (tenant, trainee, incarnation, revision, display_name, time_zone, profile, created, updated, written)
VALUES ($1, $2, $3, 1, $4, $5, $6, $7, $7, $7) ON CONFLICT DO NOTHING RETURNING ` + traineeColumns

	updateTrainee = `UPDATE trainee SET display_name = $3, time_zone = $4, profile = $5, updated = $6
WHERE tenant = $1 AND trainee = $2 RETURNING ` + traineeColumns

	lockIdle        = `SELECT FROM trainee WHERE tenant = $1 AND trainee = $2 AND written < $3 FOR UPDATE`
	deleteEntries   = `DELETE FROM entry WHERE tenant = $1 AND trainee = $2`
	deleteRollups   = `DELETE FROM day_rollup WHERE tenant = $1 AND trainee = $2`
	deletePlans     = `DELETE FROM plan WHERE tenant = $1 AND trainee = $2`
	deleteDecisions = `DELETE FROM decision WHERE tenant = $1 AND trainee = $2`
	deleteTrainee   = `DELETE FROM trainee WHERE tenant = $1 AND trainee = $2`
)

// scanTrainee reads head and trainee from traineeColumns.
func (v *view) scanTrainee(r pgx.Row) error {
	var profile []byte
	var created, updated int64
	t := store.Trainee{ID: v.scope.Trainee}
	err := v.scanHead(r, &t.DisplayName, &t.TimeZone, &profile, &created, &updated)
	if err != nil {
		return err
	}
	t.DisplayName, t.Created, t.Updated = given(t.DisplayName), instant(created), instant(updated)
	v.trainee, v.profile = t, profile
	return nil
}

// Create implements store.Writes. The id is that of the scope.
func (s *Store) Create(ctx context.Context, sc store.Scope, once store.Once, t store.Trainee, w store.Write) ([]byte, error) {
	profile, err := rows.EncodeProfile(t.Profile)
	if err != nil {
		return nil, fail(ctx, "create trainee", err)
	}
	var random [12]byte
	rand.Read(random[:])
	return s.once(ctx, sc, once, taking{
		action: "create trainee", none: store.ErrExists,
		queue: func(b *pgx.Batch, now time.Time) *pgx.QueuedQuery {
			b.Queue(insertTenant, sc.Tenant)
			return b.Queue(insertTrainee, sc.Tenant, sc.Trainee, hex.EncodeToString(random[:]), free(t.DisplayName), t.TimeZone, profile, now.Unix())
		},
	}, w)
}

// PutTrainee implements store.Tx.
func (tx *writeTx) PutTrainee(t store.Trainee) error {
	profile, err := rows.EncodeProfile(t.Profile)
	if err == nil {
		err = tx.one(tx.scanTrainee, updateTrainee,
			tx.scope.Tenant, tx.scope.Trainee, free(t.DisplayName), t.TimeZone, profile, tx.now.Unix())
	}
	return tx.fail("put trainee", err)
}

// Erase implements store.Writes.
func (s *Store) Erase(ctx context.Context, sc store.Scope, by store.AuditRecord) (store.Erased, error) {
	erased, err := s.erase(ctx, sc, math.MaxInt64, by)
	return erased, fail(ctx, "erase", err)
}

// erase removes a trainee that nothing was written of since a time. Its lock waits
// for a write in flight, and the statements after it see what that wrote. The rows
// that are counted or have no foreign key are removed by name, all others by their
// foreign keys.
func (s *Store) erase(ctx context.Context, sc store.Scope, writtenBefore int64, by store.AuditRecord) (store.Erased, error) {
	v, err := s.open(ctx, sc)
	if err != nil {
		return store.Erased{}, err
	}
	defer v.end()
	idle := false
	err = v.start(beginWrite, func(b *pgx.Batch) {
		b.Queue(lockIdle, sc.Tenant, sc.Trainee, writtenBefore).Exec(func(tag commandTag) error {
			idle = tag.RowsAffected() > 0
			return nil
		})
	})
	if err == nil && !idle {
		err = pgx.ErrNoRows
	}
	if err != nil {
		return store.Erased{}, err
	}
	var erased store.Erased
	b := &pgx.Batch{}
	for _, step := range []struct {
		query string
		count *int
	}{
		{deleteEntries, &erased.Entries}, {deleteRollups, new(int)}, {deleteDecisions, &erased.Decisions},
		{deletePlans, &erased.Plans}, {deleteTrainee, new(int)},
	} {
		b.Queue(step.query, sc.Tenant, sc.Trainee).Exec(func(tag commandTag) error {
			*step.count = int(tag.RowsAffected())
			return nil
		})
	}
	queueAudit(b, store.Scope{Tenant: sc.Tenant}, by)
	if err = v.send(b); err == nil {
		err = v.commit(nil)
	}
	if err != nil {
		return store.Erased{}, err
	}
	return erased, nil
}

// instant is a stored time: Unix seconds, UTC.
func instant(unix int64) time.Time { return time.Unix(unix, 0).UTC() }
