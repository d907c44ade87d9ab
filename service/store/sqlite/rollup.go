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
	`INSERT INTO day_rollup (tenant, trainee, day, weight_kg, readings, intake_kcal, protein_g, steps, activity_kcal, marks, refeed_kcal, has_photos, sparse)`, 13,
	`ON CONFLICT (tenant, trainee, day) DO UPDATE SET
weight_kg = excluded.weight_kg, readings = excluded.readings, intake_kcal = excluded.intake_kcal, protein_g = excluded.protein_g,
steps = excluded.steps, activity_kcal = excluded.activity_kcal, marks = excluded.marks, refeed_kcal = excluded.refeed_kcal,
has_photos = excluded.has_photos, sparse = excluded.sparse`)

// rollUp derives the rows of days, ascending, from the entries now stored.
// Days that follow each other are read together.
func (tx *writeTx) rollUp(days []engine.Day) error {
	var args []any
	for len(days) > 0 {
		n := 1
		for n < len(days) && days[n] == days[0]+engine.Day(n) {
			n++
		}
		entries, err := tx.entries(selectEntriesOfDays, tx.scope.Tenant, tx.scope.Trainee, days[0], days[n-1])
		if err != nil {
			return err
		}
		for _, day := range days[:n] {
			k := 0
			for k < len(entries) && entries[k].Day == day {
				k++
			}
			if k == 0 {
				if _, err := tx.exec(deleteRollup, tx.scope.Tenant, tx.scope.Trainee, day); err != nil {
					return err
				}
				continue
			}
			row, err := encodeRollup(rollup.Day(day, entries[:k]))
			if err != nil {
				return err
			}
			args = append(append(args, tx.scope.Tenant, tx.scope.Trainee, day), row...)
			entries = entries[k:]
		}
		days = days[n:]
	}
	return tx.put(upsertRollups, args)
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

// encodeRollup returns the columns after the day.
func encodeRollup(r rollup.Result) ([]any, error) {
	var sparse any
	text, err := rows.EncodeSparse(r)
	if err != nil {
		return nil, err
	}
	if text != "" {
		sparse = text
	}
	d := r.Row
	return []any{
		nullable(d.WeightKg), d.Readings, nullable(d.IntakeKcal), nullable(d.ProteinG), nullable(d.Steps),
		nullable(d.ActivityKcal), d.Marks, nullable(d.RefeedKcal), d.HasPhotos, sparse,
	}, nil
}

func nullable(o engine.Opt) sql.NullFloat64 { return sql.NullFloat64{Float64: o.V, Valid: o.OK} }

func known(n sql.NullFloat64) engine.Opt { return engine.Opt{V: n.Float64, OK: n.Valid} }
