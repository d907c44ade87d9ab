package postgres

import (
	"context"
	"strconv"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/rollup"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	selectRollupRules = `SELECT coalesce(max(rollup_rules), 0) FROM ` + schema + `.schema_version`

	// How many entries are in memory at once.
	rebuildBatch = 5000
)

// dayKey is a day of a trainee.
type dayKey struct {
	tenant, trainee string
	day             int32
}

// rebuildRollups makes all days again when they were made by older rules than the
// engine has now, in the owner's transaction. Heads rise, for the windows are others.
func rebuildRollups(ctx context.Context, tx pgx.Tx) error {
	var made int
	if err := tx.QueryRow(ctx, selectRollupRules).Scan(&made); err != nil || made >= rollup.Rules {
		return err
	}
	for _, q := range []string{
		// The policies bind the owner too, but for this transaction.
		`ALTER TABLE entry NO FORCE ROW LEVEL SECURITY`, `ALTER TABLE day_rollup NO FORCE ROW LEVEL SECURITY`,
		`ALTER TABLE trainee NO FORCE ROW LEVEL SECURITY`,
		`TRUNCATE day_rollup`,
		`DECLARE logs NO SCROLL CURSOR FOR SELECT tenant, trainee, day, kind, key, note, fact FROM entry
ORDER BY tenant, trainee, day, kind, key`,
	} {
		if _, err := tx.Exec(ctx, q); err != nil {
			return err
		}
	}
	if err := rebuildDays(ctx, tx); err != nil {
		return err
	}
	for _, q := range []string{
		`CLOSE logs`,
		`UPDATE trainee SET revision = revision + 1`,
		`ALTER TABLE entry FORCE ROW LEVEL SECURITY`, `ALTER TABLE day_rollup FORCE ROW LEVEL SECURITY`,
		`ALTER TABLE trainee FORCE ROW LEVEL SECURITY`,
	} {
		if _, err := tx.Exec(ctx, q); err != nil {
			return err
		}
	}
	_, err := tx.Exec(ctx, `UPDATE schema_version SET rollup_rules = $1`, rollup.Rules)
	return err
}

// rebuildDays rolls up what the cursor logs gives, day by day and block by block.
func rebuildDays(ctx context.Context, tx pgx.Tx) error {
	var at dayKey
	var entries []engine.Entry // of that day, as far as they are read
	var days []rows.PackedDay  // of its block
	var made [][]any
	finishDay := func() error {
		packed, err := packDay(nil, engine.Day(at.day), entries)
		entries, days = nil, append(days, rows.PackedDay{Day: engine.Day(at.day), Packed: packed})
		return err
	}
	finishBlock := func() error {
		block := rows.Block(engine.Day(at.day))
		packed, err := rows.Splice(block, nil, days)
		if packed != nil {
			made = append(made, []any{at.tenant, at.trainee, block, packed})
		}
		days = nil
		return err
	}
	for {
		found, err := tx.Query(ctx, `FETCH `+strconv.Itoa(rebuildBatch)+` FROM logs`)
		if err != nil {
			return err
		}
		n := 0
		err = eachRow(func(r pgx.Rows) error {
			n++
			var of dayKey
			var kind int16
			var e entryRow
			if err := r.Scan(&of.tenant, &of.trainee, &of.day, &kind, &e.Key, &e.note, &e.fact); err != nil {
				return err
			}
			if of != at {
				if err := finishDay(); err != nil {
					return err
				}
				if of.tenant != at.tenant || of.trainee != at.trainee || rows.Block(engine.Day(of.day)) != rows.Block(engine.Day(at.day)) {
					if err := finishBlock(); err != nil {
						return err
					}
				}
				at = of
			}
			e.Day, e.Kind = engine.Day(of.day), engine.Kind(kind)
			entry, err := e.entry()
			entries = append(entries, entry)
			return err
		})(found)
		if err == nil && n == 0 {
			if err = finishDay(); err == nil {
				err = finishBlock()
			}
		}
		if err == nil && len(made) > 0 {
			_, err = tx.CopyFrom(ctx, pgx.Identifier{"day_rollup"}, []string{"tenant", "trainee", "block", "packed"}, pgx.CopyFromRows(made))
			made = nil
		}
		if err != nil || n == 0 {
			return err
		}
	}
}
