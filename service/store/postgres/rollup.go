package postgres

import (
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/rollup"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	selectRollups = `SELECT day, packed FROM day_rollup WHERE tenant = $1 AND trainee = $2 AND day >= $3 ORDER BY day`

	insertRollups = `INSERT INTO day_rollup (tenant, trainee, day, weighed, packed)
SELECT $1, $2, g.* FROM unnest($3::integer[], $4::boolean[], $5::bytea[]) g`

	upsertRollups = insertRollups + `
ON CONFLICT (tenant, trainee, day) DO UPDATE SET weighed = excluded.weighed, packed = excluded.packed`

	deleteRollup = `DELETE FROM day_rollup WHERE tenant = $1 AND trainee = $2 AND day = ANY ($3)`
)

// rollupRows are rows of day_rollup, by column.
type rollupRows struct {
	days    []int32
	weighed []bool
	packed  [][]byte
}

// queueRollups queues what makes the rows of days what their entries come to.
// after has all entries of these days in order, and may have those of others. A day
// with a row has entries before and the other way round: to insert those that are new
// takes half as long as to let the server look.
func (tx *writeTx) queueRollups(b *pgx.Batch, days []changedDay, after []entryRow) error {
	var added, changed rollupRows
	var gone []int32
	for _, d := range days {
		for len(after) > 0 && after[0].Day < d.day {
			after = after[1:]
		}
		var entries []engine.Entry
		for ; len(after) > 0 && after[0].Day == d.day; after = after[1:] {
			e, err := after[0].entry()
			if err != nil {
				return err
			}
			entries = append(entries, e)
		}
		rows := &changed
		switch {
		case len(entries) == 0:
			gone = append(gone, int32(d.day))
			continue
		case d.isNew:
			rows = &added
		}
		if err := rows.add(d.day, rollup.Day(d.day, entries)); err != nil {
			return err
		}
	}
	added.queue(b, insertRollups, tx.scope)
	changed.queue(b, upsertRollups, tx.scope)
	if len(gone) > 0 {
		b.Queue(deleteRollup, tx.scope.Tenant, tx.scope.Trainee, gone)
	}
	return nil
}

func (r *rollupRows) queue(b *pgx.Batch, query string, sc store.Scope) {
	if len(r.days) > 0 {
		b.Queue(query, sc.Tenant, sc.Trainee, r.days, r.weighed, r.packed)
	}
}

func (r *rollupRows) add(on engine.Day, day rollup.Result) error {
	packed, err := rows.AppendDay(nil, day)
	r.days, r.weighed, r.packed = append(r.days, int32(on)), append(r.weighed, day.Row.WeightKg.OK), append(r.packed, packed)
	return err
}

// scanRollup appends days, ascending, to a window, which begins with the first of
// them when it is said to.
func scanRollup(w *engine.Window, beginsThere bool) func(pgx.Rows) error {
	var day int32 // out here, they are allocated once and not for each row
	var packed pgtype.DriverBytes
	return func(r pgx.Rows) error {
		if err := r.Scan(&day, &packed); err != nil {
			return err
		}
		if beginsThere && w.Days == nil {
			w.First = engine.Day(day)
		}
		return rows.DecodeDay(packed, engine.Day(day), w)
	}
}
