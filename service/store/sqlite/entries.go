package sqlite

import (
	"database/sql"
	"fmt"
	"slices"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	// The last parameter but one has a bit for each kind asked for.
	selectEntries = `SELECT day, kind, key, note, fact FROM entry
WHERE tenant = ? AND trainee = ? AND (day, kind, key) > (?, ?, ?) AND day <= ? AND (1 << kind) & ? <> 0
ORDER BY day, kind, key LIMIT ?`

	selectEntriesOfDays = `SELECT day, kind, key, note, fact FROM entry
WHERE tenant = ? AND trainee = ? AND day BETWEEN ? AND ?
ORDER BY day, kind, key`

	deleteEntry = `DELETE FROM entry WHERE tenant = ? AND trainee = ? AND day = ? AND kind = ? AND key = ?`
)

var upsertEntries = newBulk(`INSERT INTO entry (tenant, trainee, day, kind, key, note, fact)`, 5,
	`ON CONFLICT (tenant, trainee, day, kind, key) DO UPDATE SET note = excluded.note, fact = excluded.fact`)

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
	entries, err := v.entries(selectEntries, v.scope.Tenant, v.scope.Trainee,
		after.Day, after.Kind, after.Key, q.To, kinds, q.Limit)
	return entries, v.fail("read entries", err)
}

// entries reads what a query with the columns of selectEntries finds.
func (v *view) entries(query string, args ...any) ([]engine.Entry, error) {
	var out []engine.Entry
	var e engine.Entry // out here, they are allocated once and not for each row
	var kind engine.Kind
	var fact sql.RawBytes
	err := v.each(func(r *sql.Rows) error {
		if err := r.Scan(&e.Day, &kind, &e.Key, &e.Note, &fact); err != nil {
			return err
		}
		var err error
		e.Fact, err = rows.DecodeFact(kind, fact)
		out = append(out, e)
		return err
	}, query, args...)
	return out, err
}

// PutEntries implements store.Tx.
func (tx *writeTx) PutEntries(entries []engine.Entry) error {
	written := rows.InOrder(entries) // in the order of the table: neighbours share pages
	stored, err := tx.stored(written)
	if err != nil {
		return tx.fail("read entries", err)
	}
	facts := make([]byte, 0, 16*len(written))
	args := make([]any, 0, upsertEntries.width*len(written))
	for _, e := range written {
		start := len(facts)
		if facts, err = rows.AppendFact(facts, e.Fact); err != nil {
			return tx.fail(fmt.Sprintf("encode %s", e.Fact.Kind()), err)
		}
		args = append(args, int64(e.Day), int64(e.Fact.Kind()), e.Key, e.Note, facts[start:len(facts):len(facts)])
	}
	if err := tx.put(upsertEntries, tx.scope, args); err != nil {
		return tx.fail("put entries", err)
	}
	return tx.fail("roll up", tx.putRollups(rows.Merge(stored, written)))
}

// stored returns what is stored of the days of entries in the order of the log.
// A batch of a first upload touches days that have nothing yet: it asks once.
func (tx *writeTx) stored(written []engine.Entry) ([]engine.Entry, error) {
	var days []engine.Day
	for day := range rows.ByDay(written) {
		days = append(days, day)
	}
	if len(days) > rows.Run(days) { // with gaps, which may be long
		var err error
		if days, err = tx.loggedOf(days); err != nil {
			return nil, err
		}
	}
	var out []engine.Entry
	for len(days) > 0 {
		n := rows.Run(days)
		found, err := tx.entries(selectEntriesOfDays, tx.scope.Tenant, tx.scope.Trainee, days[0], days[n-1])
		if err != nil {
			return nil, err
		}
		out, days = append(out, found...), days[n:]
	}
	return out, nil
}

// loggedOf returns which of some days, ascending, have entries.
func (tx *writeTx) loggedOf(days []engine.Day) ([]engine.Day, error) {
	var out []engine.Day
	err := tx.rollups(func(d rows.PackedDay) error {
		if _, isOne := slices.BinarySearch(days, d.Day); isOne {
			out = append(out, d.Day)
		}
		return nil
	}, selectRollupsBetween, tx.scope.Tenant, tx.scope.Trainee, rows.Block(days[0]), rows.Block(days[len(days)-1]))
	return out, err
}

// DeleteEntry implements store.Tx.
func (tx *writeTx) DeleteEntry(id engine.ID) error {
	if err := tx.change(deleteEntry, tx.scope.Tenant, tx.scope.Trainee, id.Day, id.Kind, id.Key); err != nil {
		return tx.fail("delete entry", err)
	}
	left, err := tx.entries(selectEntriesOfDays, tx.scope.Tenant, tx.scope.Trainee, id.Day, id.Day)
	if err == nil && len(left) == 0 {
		err = tx.putDays([]rows.PackedDay{{Day: id.Day}})
	}
	if err == nil {
		err = tx.putRollups(left)
	}
	return tx.fail("roll up", err)
}
