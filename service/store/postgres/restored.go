package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
)

// The policies hold for the owner too, unless it lifts that for a transaction.
const (
	liftForce    = `ALTER TABLE trainee NO FORCE ROW LEVEL SECURITY`
	markRestored = `UPDATE trainee SET incarnation = substr(replace(gen_random_uuid()::text, '-', ''), 1, 24)`
	setForce     = `ALTER TABLE trainee FORCE ROW LEVEL SECURITY`
)

// Restored gives every trainee a new incarnation, as the role of ownerURL, and returns
// how many there are. After a copy of the data was brought up in the place of the
// data, revisions come a second time with other content, and what was remembered of
// the first time must not be taken for it.
func Restored(ctx context.Context, ownerURL string) (trainees int, err error) {
	err = asOwner(ctx, ownerURL, "renew incarnations", func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, liftForce); err != nil {
			return err
		}
		done, err := tx.Exec(ctx, markRestored)
		if err != nil {
			return err
		}
		trainees = int(done.RowsAffected())
		_, err = tx.Exec(ctx, setForce)
		return err
	})
	return trainees, err
}
