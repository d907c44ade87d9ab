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
	selectRollups = `SELECT block, packed FROM day_rollup WHERE tenant = $1 AND trainee = $2 AND block >= $3 ORDER BY block`

	selectBlocks = `SELECT block, packed FROM day_rollup WHERE tenant = $1 AND trainee = $2 AND block = ANY ($3)`

	insertRollups = `INSERT INTO day_rollup (tenant, trainee, block, packed)
SELECT $1, $2, g.* FROM unnest($3::bigint[], $4::bytea[]) g`

	updateRollups = `UPDATE day_rollup d SET packed = g.packed FROM unnest($3::bigint[], $4::bytea[]) AS g (block, packed)
WHERE d.tenant = $1 AND d.trainee = $2 AND d.block = g.block`

	deleteRollup = `DELETE FROM day_rollup WHERE tenant = $1 AND trainee = $2 AND block = ANY ($3)`
)

// touched is what is stored of the days that a write touches.
type touched struct {
	entries []entryRow       // all of these days, in order
	blocks  map[int64][]byte // with their days, packed
}

// readTouched reads it, after what is queued in b.
func (tx *writeTx) readTouched(b *pgx.Batch, days []engine.Day) (touched, error) {
	t := touched{blocks: map[int64][]byte{}}
	if len(days) == 0 {
		return t, nil
	}
	tx.queueOfDays(b, days, &t.entries)
	var blocks []int64
	for _, d := range days {
		if n := rows.Block(d); len(blocks) == 0 || blocks[len(blocks)-1] != n {
			blocks = append(blocks, n)
		}
	}
	b.Queue(selectBlocks, tx.scope.Tenant, tx.scope.Trainee, blocks).Query(eachRow(func(r pgx.Rows) error {
		var block int64
		var packed []byte
		err := r.Scan(&block, &packed)
		t.blocks[block] = packed
		return err
	}))
	err := tx.send(b)
	return t, err
}

// rollupRows are rows of day_rollup, by column.
type rollupRows struct {
	blocks []int64
	packed [][]byte
}

// queueRollups queues what makes the days that changed what their entries come to.
// after has all entries of these days in order, and may have those of others; stored
// has the blocks that are there.
func (tx *writeTx) queueRollups(b *pgx.Batch, days []engine.Day, after []entryRow, stored map[int64][]byte) error {
	var added, changed rollupRows
	var gone []int64
	var packed []rows.PackedDay
	var entries []engine.Entry
	var room []byte
	for len(days) > 0 {
		block := rows.Block(days[0])
		packed, room = packed[:0], room[:0]
		for ; len(days) > 0 && rows.Block(days[0]) == block; days = days[1:] {
			for len(after) > 0 && after[0].Day < days[0] {
				after = after[1:]
			}
			entries = entries[:0]
			for ; len(after) > 0 && after[0].Day == days[0]; after = after[1:] {
				e, err := after[0].entry()
				if err != nil {
					return err
				}
				entries = append(entries, e)
			}
			start := len(room)
			var err error
			if room, err = packDay(room, days[0], entries); err != nil {
				return err
			}
			packed = append(packed, rows.PackedDay{Day: days[0], Packed: room[start:]})
		}
		was, there := stored[block]
		spliced, err := rows.Splice(block, was, packed)
		switch {
		case err != nil:
			return err
		case spliced == nil:
			gone = append(gone, block)
		case there:
			changed.add(block, spliced)
		default:
			added.add(block, spliced)
		}
	}
	added.queue(b, insertRollups, tx.scope)
	changed.queue(b, updateRollups, tx.scope)
	if len(gone) > 0 {
		b.Queue(deleteRollup, tx.scope.Tenant, tx.scope.Trainee, gone)
	}
	return nil
}

// packDay rolls a day up and appends it; of one without entries there are no bytes.
func packDay(dst []byte, day engine.Day, entries []engine.Entry) ([]byte, error) {
	if len(entries) == 0 {
		return dst, nil
	}
	return rows.AppendDay(dst, rollup.Day(day, entries))
}

func (r *rollupRows) add(block int64, packed []byte) {
	r.blocks, r.packed = append(r.blocks, block), append(r.packed, packed)
}

func (r *rollupRows) queue(b *pgx.Batch, query string, sc store.Scope) {
	if len(r.blocks) > 0 {
		b.Queue(query, sc.Tenant, sc.Trainee, r.blocks, r.packed)
	}
}

// scanRollup appends the days of blocks, ascending, to a window. One that begins there
// begins with the first of them, any other leaves out those before it.
func scanRollup(w *engine.Window, beginsThere bool) func(pgx.Rows) error {
	var block int64 // out here, they are allocated once and not for each row
	var packed pgtype.DriverBytes
	return func(r pgx.Rows) error {
		if err := r.Scan(&block, &packed); err != nil {
			return err
		}
		return rows.EachDay(block, packed, func(d rows.PackedDay) error {
			if beginsThere && w.Days == nil {
				w.First = d.Day
			}
			if d.Day < w.First {
				return nil
			}
			return rows.DecodeDay(d.Packed, d.Day, w)
		})
	}
}
