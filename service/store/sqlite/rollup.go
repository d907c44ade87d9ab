package sqlite

import (
	"database/sql"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/rollup"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	selectRollups = `SELECT day, packed FROM day_rollup WHERE tenant = ? AND trainee = ? AND day >= ? ORDER BY day`

	deleteRollup = `DELETE FROM day_rollup WHERE tenant = ? AND trainee = ? AND day = ?`
)

var upsertRollups = newBulk(`INSERT INTO day_rollup (tenant, trainee, day, packed)`, 2,
	`ON CONFLICT (tenant, trainee, day) DO UPDATE SET packed = excluded.packed`)

// putRollups writes the rows of all days that a log in its order has.
func (tx *writeTx) putRollups(log []engine.Entry) error {
	var args []any
	var packed []byte
	for day, entries := range rows.ByDay(log) {
		start := len(packed)
		var err error
		if packed, err = rows.AppendDay(packed, rollup.Day(day, entries)); err != nil {
			return err
		}
		args = append(args, int64(day), packed[start:len(packed):len(packed)])
	}
	return tx.put(upsertRollups, tx.scope, args)
}

// window reads every day from first on.
func (v *view) window(first engine.Day) (engine.Window, error) {
	w := engine.Window{First: first}
	err := v.rollups(func(day engine.Day, packed []byte) error { return rows.DecodeDay(packed, day, &w) },
		selectRollups, v.scope.Tenant, v.scope.Trainee, first)
	return w, err
}

// rollups calls f for every row that a query with the columns of selectRollups finds.
func (v *view) rollups(f func(day engine.Day, packed []byte) error, query string, args ...any) error {
	var day engine.Day // out here, they are allocated once and not for each row
	var packed sql.RawBytes
	return v.each(func(r *sql.Rows) error {
		if err := r.Scan(&day, &packed); err != nil {
			return err
		}
		return f(day, packed)
	}, query, args...)
}
