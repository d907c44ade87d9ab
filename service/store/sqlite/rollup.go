package sqlite

import (
	"database/sql"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/rollup"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	selectRollups = `SELECT day, weight_kg, readings, intake_kcal, protein_g, steps, activity_kcal, marks, refeed_kcal, has_photos, sparse
FROM day_rollup WHERE tenant = ? AND trainee = ? AND day >= ? ORDER BY day`

	deleteRollup = `DELETE FROM day_rollup WHERE tenant = ? AND trainee = ? AND day = ?`
)

var upsertRollups = newBulk(
	`INSERT INTO day_rollup (tenant, trainee, day, weight_kg, readings, intake_kcal, protein_g, steps, activity_kcal, marks, refeed_kcal, has_photos, sparse)`, 11,
	`ON CONFLICT (tenant, trainee, day) DO UPDATE SET
weight_kg = excluded.weight_kg, readings = excluded.readings, intake_kcal = excluded.intake_kcal, protein_g = excluded.protein_g,
steps = excluded.steps, activity_kcal = excluded.activity_kcal, marks = excluded.marks, refeed_kcal = excluded.refeed_kcal,
has_photos = excluded.has_photos, sparse = excluded.sparse`)

// putRollups writes the rows of all days that a log in its order has.
func (tx *writeTx) putRollups(log []engine.Entry) error {
	var args []any
	var sparse []byte
	for day, entries := range rows.ByDay(log) {
		r := rollup.Day(day, entries)
		start := len(sparse)
		var err error
		if sparse, err = rows.AppendSparse(sparse, r); err != nil {
			return err
		}
		args = appendRollup(args, day, r.Row, sparse[start:len(sparse):len(sparse)])
	}
	return tx.put(upsertRollups, tx.scope, args)
}

// window reads every day from first on.
func (v *view) window(first engine.Day) (engine.Window, error) {
	w := engine.Window{First: first}
	var day engine.Day // out here, they are allocated once and not for each row
	var r engine.WindowDay
	var weight, intake, protein, steps, activity, refeed sql.NullFloat64
	var sparse sql.RawBytes
	err := v.each(func(scan *sql.Rows) error {
		r = engine.WindowDay{}
		err := scan.Scan(&day, &weight, &r.Readings, &intake, &protein, &steps, &activity, &r.Marks, &refeed, &r.HasPhotos, &sparse)
		if err != nil {
			return err
		}
		r.WeightKg, r.IntakeKcal, r.ProteinG = known(weight), known(intake), known(protein)
		r.Steps, r.ActivityKcal, r.RefeedKcal = known(steps), known(activity), known(refeed)
		if sparse != nil {
			if err := rows.DecodeSparse(sparse, day, &r, &w); err != nil {
				return err
			}
		}
		w.Days = append(w.Days, make([]engine.WindowDay, day-w.End())...) // the days that nothing is known of
		w.Days = append(w.Days, r)
		return nil
	}, selectRollups, v.scope.Tenant, v.scope.Trainee, first)
	return w, err
}

// appendRollup appends the columns from the day on.
func appendRollup(args []any, day engine.Day, d engine.WindowDay, sparse []byte) []any {
	if len(sparse) == 0 {
		sparse = nil
	}
	return append(args, day, nullable(d.WeightKg), d.Readings, nullable(d.IntakeKcal), nullable(d.ProteinG), nullable(d.Steps),
		nullable(d.ActivityKcal), d.Marks, nullable(d.RefeedKcal), d.HasPhotos, sparse)
}

func nullable(o engine.Opt) sql.NullFloat64 { return sql.NullFloat64{Float64: o.V, Valid: o.OK} }

func known(n sql.NullFloat64) engine.Opt { return engine.Opt{V: n.Float64, OK: n.Valid} }
