package sqlite

import (
	"errors"
	"fmt"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	// The last parameter but one has a bit for each kind asked for.
	selectEntries = `SELECT day, kind, key, note, fact FROM entry
WHERE trainee_id = ? AND (day, kind, key) > (?, ?, ?) AND day <= ? AND (1 << kind) & ? <> 0
ORDER BY day, kind, key LIMIT ?`

	selectEntriesOfDays = `SELECT day, kind, key, note, fact FROM entry
WHERE trainee_id = ? AND day BETWEEN ? AND ?
ORDER BY day, kind, key`

	deleteEntry = `DELETE FROM entry WHERE trainee_id = ? AND day = ? AND kind = ? AND key = ?`
)

var upsertEntries = newBulk(`INSERT INTO entry (trainee_id, day, kind, key, note, fact)`, 5,
	`ON CONFLICT (trainee_id, day, kind, key) DO UPDATE SET note = excluded.note, fact = excluded.fact`)

// Entries implements store.View.
func (v *view) Entries(q store.EntryQuery) ([]engine.Entry, error) {
	after := engine.ID{Day: q.From} // before each entry of that day: kinds start at 1
	if q.After != nil && q.After.Day >= q.From {
		after = *q.After
	}
	var kinds int64
	for _, k := range q.Kinds {
		kinds |= 1 << k
	}
	if len(q.Kinds) == 0 {
		kinds = -1
	}
	entries, err := v.entries(selectEntries, v.id,
		int64(after.Day), int64(after.Kind), after.Key, int64(q.To), kinds, q.Limit)
	return entries, v.fail("read entries", err)
}

// entries reads what a query with the columns of selectEntries finds.
func (v *view) entries(query string, args ...any) ([]engine.Entry, error) {
	var out []engine.Entry
	var buf []byte
	err := v.each(func(st *driver.Stmt) error {
		kind, err := columnSmall[engine.Kind](st, 1)
		if err != nil {
			return err
		}
		buf = columnBytes(st, 4, buf)
		fact, err := rows.DecodeFact(kind, buf)
		out = append(out, engine.Entry{Day: columnDay(st, 0), Key: st.ColumnText(2), Note: st.ColumnText(3), Fact: fact})
		return err
	}, query, args...)
	return out, err
}

// PutEntries implements store.Tx.
func (tx *writeTx) PutEntries(entries []engine.Entry) error {
	if len(entries) == 0 {
		return nil
	}
	written := rows.InOrder(entries) // in the order of the table: neighbours share pages
	blocks, err := tx.blocksOf(written[0].Day, written[len(written)-1].Day)
	if err != nil {
		return tx.fail("read days", err)
	}
	stored, err := tx.stored(written, blocks)
	if err != nil {
		return tx.fail("read entries", err)
	}
	facts := make([]byte, 0, 16*len(written))
	ends := make([]int, 1, 1+len(written)) // fact i is between end i and i+1
	for _, e := range written {
		if facts, err = rows.AppendFact(facts, e.Fact); err != nil {
			return tx.fail(fmt.Sprintf("encode %s", e.Fact.Kind()), err)
		}
		ends = append(ends, len(facts))
	}
	err = tx.put(upsertEntries, tx.id, len(written), func(st *driver.Stmt, row, first int) {
		e := &written[row]
		st.BindInt64(first, int64(e.Day))
		st.BindInt64(first+1, int64(e.Fact.Kind()))
		st.BindText(first+2, e.Key)
		st.BindText(first+3, e.Note)
		st.BindBytes(first+4, facts[ends[row]:ends[row+1]])
	})
	if err != nil {
		return tx.fail("put entries", err)
	}
	return tx.fail("roll up", tx.putRollups(rows.Merge(stored, written), blocks))
}

// stored returns what is stored of the days of entries in the order of the log, by
// their blocks: nothing is asked for a day that has nothing yet.
func (tx *writeTx) stored(written []engine.Entry, blocks []block) ([]engine.Entry, error) {
	days, err := logged(written, blocks)
	if err != nil {
		return nil, err
	}
	var out []engine.Entry
	for len(days) > 0 {
		n := rows.Run(days)
		found, err := tx.entries(selectEntriesOfDays, tx.id, int64(days[0]), int64(days[n-1]))
		if err != nil {
			return nil, err
		}
		out, days = append(out, found...), days[n:]
	}
	return out, nil
}

// logged returns which days of entries in the order of the log their blocks have.
func logged(written []engine.Entry, blocks []block) (days []engine.Day, err error) {
	for _, b := range blocks {
		err = errors.Join(err, rows.EachDay(b.at, b.packed, func(d rows.PackedDay) error {
			for len(written) > 0 && written[0].Day < d.Day {
				written = written[1:]
			}
			if len(written) > 0 && written[0].Day == d.Day {
				days = append(days, d.Day)
			}
			return nil
		}))
	}
	return days, err
}

// DeleteEntry implements store.Tx.
func (tx *writeTx) DeleteEntry(id engine.ID) error {
	if err := tx.change(deleteEntry, tx.id, int64(id.Day), int64(id.Kind), id.Key); err != nil {
		return tx.fail("delete entry", err)
	}
	blocks, err := tx.blocksOf(id.Day, id.Day)
	if err != nil {
		return tx.fail("read days", err)
	}
	left, err := tx.entries(selectEntriesOfDays, tx.id, int64(id.Day), int64(id.Day))
	switch {
	case err == nil && len(left) == 0:
		err = tx.putDays([]rows.PackedDay{{Day: id.Day}}, blocks)
	case err == nil:
		err = tx.putRollups(left, blocks)
	}
	return tx.fail("roll up", err)
}
