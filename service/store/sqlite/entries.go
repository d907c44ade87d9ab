package sqlite

import (
	"cmp"
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

var upsertEntries = newBulk(`INSERT INTO entry (tenant, trainee, day, kind, key, note, fact)`, 7,
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
	sorted := slices.Clone(entries) // in the order of the table: neighbours share pages
	slices.SortFunc(sorted, func(a, b engine.Entry) int { return compareIDs(a.ID(), b.ID()) })
	args := make([]any, 0, upsertEntries.width*len(sorted))
	var days []engine.Day
	for i, e := range sorted {
		if i > 0 && e.ID() == sorted[i-1].ID() {
			panic("sqlite: two entries of one key in one call")
		}
		fact, err := rows.EncodeFact(e.Fact)
		if err != nil {
			return tx.fail(fmt.Sprintf("encode %s", e.Fact.Kind()), err)
		}
		args = append(args, tx.scope.Tenant, tx.scope.Trainee, e.Day, e.Fact.Kind(), e.Key, e.Note, fact)
		days = append(days, e.Day)
	}
	if err := tx.put(upsertEntries, args); err != nil {
		return tx.fail("put entries", err)
	}
	return tx.fail("roll up", tx.rollUp(slices.Compact(days)))
}

// DeleteEntry implements store.Tx.
func (tx *writeTx) DeleteEntry(id engine.ID) error {
	if err := tx.change(deleteEntry, tx.scope.Tenant, tx.scope.Trainee, id.Day, id.Kind, id.Key); err != nil {
		return tx.fail("delete entry", err)
	}
	return tx.fail("roll up", tx.rollUp([]engine.Day{id.Day}))
}

func compareIDs(a, b engine.ID) int {
	return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Key, b.Key))
}
