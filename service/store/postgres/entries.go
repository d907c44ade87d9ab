package postgres

import (
	"bytes"
	"cmp"
	"slices"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	// The last parameter but one has a bit for each kind asked for.
	selectEntries = `SELECT day, kind, key, note, fact FROM entry
WHERE tenant = $1 AND trainee = $2 AND (day, kind, key) > ($3, $4, $5) AND day <= $6 AND (1::bigint << kind) & $7 <> 0
ORDER BY day, kind, key LIMIT $8`

	selectEntriesBetween = `SELECT day, kind, key, note, fact FROM entry
WHERE tenant = $1 AND trainee = $2 AND day BETWEEN $3 AND $4 ORDER BY day, kind, key`

	selectEntriesOfDays = `SELECT day, kind, key, note, fact FROM entry
WHERE tenant = $1 AND trainee = $2 AND day = ANY ($3) ORDER BY day, kind, key`

	// The arrays are of one length. Taken apart here and not in a FROM, where the server
	// would first keep all of their rows, they cost a fifteenth less with all that follows.
	insertEntries = `INSERT INTO entry (tenant, trainee, day, kind, key, note, fact)
SELECT $1, $2, unnest($3::integer[]), unnest($4::smallint[]), unnest($5::text[]), unnest($6::text[]), unnest($7::bytea[])`

	updateEntries = `UPDATE entry e SET note = g.note, fact = g.fact
FROM unnest($3::integer[], $4::smallint[], $5::text[], $6::text[], $7::bytea[]) AS g (day, kind, key, note, fact)
WHERE e.tenant = $1 AND e.trainee = $2 AND e.day = g.day AND e.kind = g.kind AND e.key = g.key`

	deleteEntry = `DELETE FROM entry WHERE tenant = $1 AND trainee = $2 AND day = $3 AND kind = $4 AND key = $5`
)

// entryRow is an entry as it is stored.
type entryRow struct {
	engine.ID
	note  string
	fact  []byte
	value engine.Fact // what fact says, where it is known without decoding; else nil
}

// entry decodes a row.
func (r entryRow) entry() (engine.Entry, error) {
	e := engine.Entry{Day: r.Day, Key: r.Key, Note: given(r.note), Fact: r.value}
	var err error
	if e.Fact == nil {
		e.Fact, err = rows.DecodeFact(r.Kind, r.fact)
	}
	return e, err
}

// usualFact is how many bytes a packed fact has, mostly.
const usualFact = 16

// rowsOf encodes entries.
func rowsOf(entries []engine.Entry) ([]entryRow, error) {
	out := make([]entryRow, len(entries))
	packed := make([]byte, 0, usualFact*len(entries))
	for i, e := range entries {
		start := len(packed)
		var err error
		if packed, err = rows.AppendFact(packed, e.Fact); err != nil {
			return nil, err
		}
		out[i] = entryRow{e.ID(), free(e.Note), packed[start:], e.Fact}
	}
	return out, nil
}

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
	found, err := v.entryRows(selectEntries, int32(after.Day), int16(after.Kind), after.Key, int32(q.To), kinds, q.Limit)
	if err != nil {
		return nil, v.fail("read entries", err)
	}
	out := make([]engine.Entry, len(found))
	for i, r := range found {
		if out[i], err = r.entry(); err != nil {
			return nil, v.fail("read entries", err)
		}
	}
	return out, nil
}

// entryRows reads what a query with the columns of selectEntries finds in this scope.
func (v *view) entryRows(query string, args ...any) ([]entryRow, error) {
	var out []entryRow
	err := v.each(scanEntry(&out), query, append([]any{v.scope.Tenant, v.scope.Trainee}, args...)...)
	return out, err
}

func scanEntry(out *[]entryRow) func(pgx.Rows) error {
	var day int32 // out here, they are allocated once and not for each row
	var kind int16
	var e entryRow
	return func(r pgx.Rows) error {
		e.fact = nil // each has its own
		err := r.Scan(&day, &kind, &e.Key, &e.note, &e.fact)
		e.Day, e.Kind = engine.Day(day), engine.Kind(kind)
		*out = append(*out, e)
		return err
	}
}

// queueOfDays reads the entries of days, ascending.
func (v *view) queueOfDays(b *pgx.Batch, days []engine.Day, out *[]entryRow) {
	first, last := days[0], days[len(days)-1]
	if int(last-first) == len(days)-1 { // days that follow each other: one walk along the key
		b.Queue(selectEntriesBetween, v.scope.Tenant, v.scope.Trainee, int32(first), int32(last)).Query(eachRow(scanEntry(out)))
		return
	}
	list := make([]int32, len(days))
	for i, d := range days {
		list[i] = int32(d)
	}
	b.Queue(selectEntriesOfDays, v.scope.Tenant, v.scope.Trainee, list).Query(eachRow(scanEntry(out)))
}

// PutEntries implements store.Tx. The touched days are read first, which their
// roll-ups need in any case. As this transaction has the lock on the trainee, that
// says for good which entries are new: those are inserted without looking for
// conflicts, those that differ are updated, and of those that are there already
// nothing is written.
func (tx *writeTx) PutEntries(entries []engine.Entry) error {
	entries = rows.InOrder(entries)
	want, err := rowsOf(entries)
	if err != nil {
		return tx.fail("encode entries", err)
	}
	days := daysOf(entries)
	have, err := tx.readTouched(&pgx.Batch{}, days)
	if err != nil {
		return tx.fail("read days", err)
	}
	m := merge(have.entries, want, days)
	for some := range slices.Chunk(m.added, atOnce) {
		if err := tx.storeEntries(insertEntries, some); err != nil {
			return tx.fail("store entries", err)
		}
	}
	if err := tx.storeEntries(updateEntries, m.changed); err != nil {
		return tx.fail("store entries", err)
	}
	return tx.fail("roll up", tx.queueRollups(tx.later, m.days, m.after, have.blocks))
}

const (
	// many entries are sent ahead: the server stores them while others are encoded and
	// their days are rolled up.
	many = 200
	// atOnce is how many new entries one statement stores.
	atOnce = 500
)

// storeEntries leaves a statement over entries for later, or sends it ahead.
func (tx *writeTx) storeEntries(query string, of []entryRow) error {
	tx.queueEntries(tx.later, query, of)
	if len(of) < many {
		return nil
	}
	return tx.sendAhead()
}

// daysOf returns the days of entries in the order of the log.
func daysOf(entries []engine.Entry) []engine.Day {
	var out []engine.Day
	for _, e := range entries {
		if len(out) == 0 || out[len(out)-1] != e.Day {
			out = append(out, e.Day)
		}
	}
	return out
}

// queueEntries queues insertEntries or updateEntries.
func (tx *writeTx) queueEntries(b *pgx.Batch, query string, of []entryRow) {
	if len(of) == 0 {
		return
	}
	b.Queue(query, tx.scope.Tenant, tx.scope.Trainee,
		column{of, entryDays}, column{of, entryKinds}, column{of, entryKeys}, column{of, entryNotes}, column{of, entryFacts})
}

// merged is what a put comes to.
type merged struct {
	added, changed []entryRow
	after          []entryRow   // all of the read days, in order
	days           []engine.Day // on which something changes, ascending
}

// merge lays want, which is of these days, over have. Both are in order.
func merge(have, want []entryRow, days []engine.Day) merged {
	if len(have) == 0 { // as for most of a backfill
		return merged{added: want, after: want, days: days}
	}
	m := merged{after: make([]entryRow, 0, len(have)+len(want))}
	for _, r := range want {
		for len(have) > 0 && compareRows(have[0], r) < 0 {
			m.after = append(m.after, have[0])
			have = have[1:]
		}
		m.after = append(m.after, r)
		switch {
		case len(have) == 0 || have[0].ID != r.ID:
			m.added = append(m.added, r)
		case have[0].note != r.note || !bytes.Equal(have[0].fact, r.fact):
			m.changed = append(m.changed, r)
			have = have[1:]
		default:
			have = have[1:]
			continue
		}
		if len(m.days) == 0 || m.days[len(m.days)-1] != r.Day {
			m.days = append(m.days, r.Day)
		}
	}
	m.after = append(m.after, have...)
	return m
}

// DeleteEntry implements store.Tx.
func (tx *writeTx) DeleteEntry(id engine.ID) error {
	var deleted int64
	b := &pgx.Batch{}
	b.Queue(deleteEntry, tx.scope.Tenant, tx.scope.Trainee, int32(id.Day), int16(id.Kind), id.Key).Exec(func(tag commandTag) error {
		deleted = tag.RowsAffected()
		return nil
	})
	days := []engine.Day{id.Day}
	left, err := tx.readTouched(b, days)
	if err == nil && deleted == 0 {
		err = pgx.ErrNoRows
	}
	if err != nil {
		return tx.fail("delete entry", err)
	}
	return tx.fail("roll up", tx.queueRollups(tx.later, days, left.entries, left.blocks))
}

func compareRows(a, b entryRow) int {
	return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Key, b.Key))
}
