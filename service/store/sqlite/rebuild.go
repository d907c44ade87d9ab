package sqlite

import (
	"context"
	"fmt"
	"math"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/engine/rollup"
	"example.com/steelyard/service/store"
)

const (
	// raiseHead says nothing of a write: the person wrote nothing.
	raiseHead = `UPDATE trainee SET revision = revision + 1 WHERE tenant = ? AND trainee = ?
RETURNING ` + traineeColumns

	rollupRules       = `user_version`
	selectRollupRules = `PRAGMA ` + rollupRules

	selectTraineesAfter = `SELECT tenant, trainee FROM trainee WHERE (tenant, trainee) > (?, ?) ORDER BY tenant, trainee LIMIT ?`

	deleteRollups = `DELETE FROM day_rollup WHERE trainee_id = ?`
)

// rebuildRollups makes all day rows again when they were made by older rules than
// the engine has now. Each head is raised with it, for the window is another one
// then. What is interrupted begins again.
func (s *Store) rebuildRollups(ctx context.Context) error {
	var rules int64
	err := s.get(ctx, func(c conn) error {
		return c.row(func(st *driver.Stmt) error {
			rules = st.ColumnInt64(0)
			return nil
		}, selectRollupRules)
	})
	if err != nil {
		return fail(ctx, "read the rules of the roll-up", err)
	}
	if rules >= rollup.Rules {
		return nil
	}
	for after := (store.Scope{}); ; {
		scopes, err := s.scopes(ctx, selectTraineesAfter, after)
		if err != nil {
			return fail(ctx, "read trainees", err)
		}
		if len(scopes) == 0 {
			break
		}
		err = s.write(ctx, func(c conn) error {
			for _, sc := range scopes {
				if err := rebuild(c, sc); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
		after = scopes[len(scopes)-1]
	}
	err = s.write(ctx, func(c conn) error {
		_, err := c.pragma(fmt.Sprintf("%s(%d)", rollupRules, rollup.Rules)) // a pragma takes no parameter
		return err
	})
	return fail(ctx, "note the rules of the roll-up", err)
}

func rebuild(c conn, sc store.Scope) error {
	tx := &writeTx{view: view{conn: c, scope: sc}}
	if err := tx.load(raiseHead, sc.Tenant, sc.Trainee); err != nil {
		return tx.fail("raise head", err)
	}
	log, err := tx.entries(selectEntriesOfDays, tx.id, int64(math.MinInt32), int64(math.MaxInt32))
	if err == nil {
		_, err = tx.exec(deleteRollups, tx.id)
	}
	if err == nil {
		err = tx.putRollups(log, nil)
	}
	return tx.fail("roll up again", err)
}
