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
	rollupColumns = `day, weight_kg, readings, intake_kcal, protein_g, steps, activity_kcal, marks, refeed_kcal, has_photos, sparse`

	selectRollups = `SELECT ` + rollupColumns + ` FROM day_rollup WHERE tenant = $1 AND trainee = $2 AND day >= $3 ORDER BY day`

	insertRollups = `INSERT INTO day_rollup (tenant, trainee, ` + rollupColumns + `)
SELECT $1, $2, g.* FROM unnest($3::integer[], $4::float8[], $5::integer[], $6::float8[], $7::float8[], $8::float8[], $9::float8[],
$10::integer[], $11::float8[], $12::boolean[], $13::bytea[]) g`

	upsertRollups = insertRollups + `
ON CONFLICT (tenant, trainee, day) DO UPDATE SET
weight_kg = excluded.weight_kg, readings = excluded.readings, intake_kcal = excluded.intake_kcal, protein_g = excluded.protein_g,
steps = excluded.steps, activity_kcal = excluded.activity_kcal, marks = excluded.marks, refeed_kcal = excluded.refeed_kcal,
has_photos = excluded.has_photos, sparse = excluded.sparse`

	deleteRollup = `DELETE FROM day_rollup WHERE tenant = $1 AND trainee = $2 AND day = ANY ($3)`
)

// rollupRows are rows of day_rollup, by column.
type rollupRows struct {
	days                                     []int32
	weight, intake, protein, steps, activity []pgtype.Float8
	readings, marks                          []int32
	refeed                                   []pgtype.Float8
	photos                                   []bool
	sparse                                   [][]byte
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
		b.Queue(query, sc.Tenant, sc.Trainee, r.days, r.weight, r.readings, r.intake, r.protein, r.steps, r.activity,
			r.marks, r.refeed, r.photos, r.sparse)
	}
}

func (r *rollupRows) add(on engine.Day, day rollup.Result) error {
	sparse, err := rows.AppendSparse(nil, day)
	if err != nil {
		return err
	}
	d := day.Row
	r.days = append(r.days, int32(on))
	r.weight, r.readings = append(r.weight, nullable(d.WeightKg)), append(r.readings, int32(d.Readings))
	r.intake, r.protein = append(r.intake, nullable(d.IntakeKcal)), append(r.protein, nullable(d.ProteinG))
	r.steps, r.activity = append(r.steps, nullable(d.Steps)), append(r.activity, nullable(d.ActivityKcal))
	r.marks, r.refeed = append(r.marks, int32(d.Marks)), append(r.refeed, nullable(d.RefeedKcal))
	r.photos, r.sparse = append(r.photos, d.HasPhotos), append(r.sparse, sparse)
	return nil
}

// scanRollup appends rows, ascending, to a window.
func scanRollup(w *engine.Window) func(pgx.Rows) error {
	var day, readings, marks int32 // out here, they are allocated once and not for each row
	var weight, intake, protein, steps, activity, refeed pgtype.Float8
	var photos bool
	var sparse []byte
	return func(scan pgx.Rows) error {
		err := scan.Scan(&day, &weight, &readings, &intake, &protein, &steps, &activity, &marks, &refeed, &photos, &sparse)
		if err != nil {
			return err
		}
		r := engine.WindowDay{
			WeightKg: known(weight), Readings: int(readings), IntakeKcal: known(intake), ProteinG: known(protein),
			Steps: known(steps), ActivityKcal: known(activity), RefeedKcal: known(refeed),
			Marks: engine.MarkSet(marks), HasPhotos: photos,
		}
		if int32(r.Marks) != marks {
			return rows.ErrRange
		}
		if sparse != nil {
			if err := rows.DecodeSparse(sparse, engine.Day(day), &r, w); err != nil {
				return err
			}
		}
		w.Days = append(w.Days, make([]engine.WindowDay, engine.Day(day)-w.End())...) // the days that nothing is known of
		w.Days = append(w.Days, r)
		return nil
	}
}

func nullable(o engine.Opt) pgtype.Float8 { return pgtype.Float8{Float64: o.V, Valid: o.OK} }

func known(n pgtype.Float8) engine.Opt { return engine.Opt{V: n.Float64, OK: n.Valid} }
