package sqlite

import (
	"bytes"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/rollup"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	selectRollups = `SELECT block, packed FROM day_rollup WHERE trainee_id = ? AND block >= ? ORDER BY block`

	selectRollupsBetween = `SELECT block, packed FROM day_rollup WHERE trainee_id = ? AND block BETWEEN ? AND ? ORDER BY block`

	deleteRollup = `DELETE FROM day_rollup WHERE trainee_id = ? AND block = ?`
)

var upsertRollups = newBulk(`INSERT INTO day_rollup (trainee_id, block, packed)`, 2,
	`ON CONFLICT (trainee_id, block) DO UPDATE SET packed = excluded.packed`)

// blocksOf reads the blocks of the days from first to last.
func (tx *writeTx) blocksOf(first, last engine.Day) ([]block, error) {
	var out []block
	err := tx.blocks(func(at int64, packed []byte) error {
		out = append(out, block{at, bytes.Clone(packed)})
		return nil
	}, selectRollupsBetween, tx.id, rows.Block(first), rows.Block(last))
	return out, err
}

// putRollups writes the days that a log in its order has, given their blocks as stored.
func (tx *writeTx) putRollups(log []engine.Entry, stored []block) error {
	var days []rows.PackedDay
	var packed []byte
	for day, entries := range rows.ByDay(log) {
		start := len(packed)
		var err error
		if packed, err = rows.AppendDay(packed, rollup.Day(day, entries)); err != nil {
			return err
		}
		days = append(days, rows.PackedDay{Day: day, Packed: packed[start:len(packed):len(packed)]})
	}
	return tx.putDays(days, stored)
}

// putDays writes days, ascending, into their blocks as stored; one of no bytes goes.
func (tx *writeTx) putDays(days []rows.PackedDay, stored []block) error {
	var changed []block
	for len(days) > 0 {
		b, n := block{at: rows.Block(days[0].Day)}, 1
		for n < len(days) && rows.Block(days[n].Day) == b.at {
			n++
		}
		for len(stored) > 0 && stored[0].at <= b.at {
			if stored[0].at == b.at {
				b.packed = stored[0].packed
			}
			stored = stored[1:]
		}
		var err error
		b.packed, err = rows.Splice(b.at, b.packed, days[:n])
		if err == nil && b.packed == nil {
			_, err = tx.exec(deleteRollup, tx.id, b.at)
		}
		if err != nil {
			return err
		}
		if b.packed != nil {
			changed = append(changed, b)
		}
		days = days[n:]
	}
	return tx.put(upsertRollups, tx.id, len(changed), func(st *driver.Stmt, row, first int) {
		st.BindInt64(first, changed[row].at)
		st.BindBytes(first+1, changed[row].packed)
	})
}

// block is a row of day_rollup within its scope.
type block struct {
	at     int64
	packed []byte
}

// window reads every day from first on.
func (v *view) window(first engine.Day) (engine.Window, error) {
	w := engine.Window{First: first}
	err := v.rollups(func(d rows.PackedDay) error {
		if d.Day < first {
			return nil
		}
		return rows.DecodeDay(d.Packed, d.Day, &w)
	}, selectRollups, v.id, rows.Block(first))
	return w, err
}

// rollups calls f for every day of the blocks that a query with the columns of
// selectRollups finds.
func (v *view) rollups(f func(rows.PackedDay) error, query string, args ...any) error {
	return v.blocks(func(block int64, packed []byte) error { return rows.EachDay(block, packed, f) }, query, args...)
}

func (v *view) blocks(f func(at int64, packed []byte) error, query string, args ...any) error {
	var buf []byte
	return v.each(func(st *driver.Stmt) error {
		buf = columnBytes(st, 1, buf)
		return f(st.ColumnInt64(0), buf)
	}, query, args...)
}
