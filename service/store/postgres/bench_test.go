//go:build unix

package postgres

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres/pgtest"
)

// benchStore has one trainee with a log of 90 days: weight, intake and steps each
// day, two lifts on every other.
func benchStore(b *testing.B) (*Store, store.Scope) {
	s := newStore(b)
	b.Cleanup(func() { s.Close() })
	create(b, s, ada)
	mustPut(b, s, ada, store.Once{}, keptDays(0, 90))
	return s, ada
}

// keptDays returns the entries of n days, four a day on average.
func keptDays(first engine.Day, n int) []engine.Entry {
	var out []engine.Entry
	for i := range n {
		day := first + engine.Day(i)
		out = append(out,
			engine.Entry{Day: day, Key: "1", Fact: engine.WeighIn{Weight: engine.Kg(80.3 - float64(i)/50), MinuteOfDay: engine.Some(420)}},
			engine.Entry{Day: day, Key: "1", Fact: engine.Intake{Energy: engine.Kcal(1900 + float64(i)), ProteinG: engine.Some(140)}},
			engine.Entry{Day: day, Key: "1", Fact: engine.Activity{Steps: engine.Some(9000 + float64(i))}})
		if i%2 == 0 {
			out = append(out,
				engine.Entry{Day: day, Key: "1", Fact: engine.LiftSet{Lift: "back-squat", Load: engine.Kg(100), Reps: 5}},
				engine.Entry{Day: day, Key: "2", Fact: engine.LiftSet{Lift: "press", Load: engine.Kg(40), Reps: 8}})
		}
	}
	return out
}

// batchDays have keptDays of 500 entries.
const batchDays = 125

// BenchmarkReads does the reads of the window protocol in turn, so that whatever else
// the machine does meets all of them alike, and gives each as a multiple of an empty
// statement, which is the least that any costs.
func BenchmarkReads(b *testing.B) {
	s, sc := benchStore(b)
	scopes := map[int][]store.Scope{}
	for _, tenants := range []int{1, 4, 32} {
		for i := range 32 {
			sc := store.Scope{Tenant: fmt.Sprint("gym-", tenants, "-", i%tenants), Trainee: fmt.Sprint("t", i)}
			create(b, s, sc)
			scopes[tenants] = append(scopes[tenants], sc)
		}
	}
	heads := func(tenants int) func() error {
		return func() error { _, err := s.Heads(b.Context(), scopes[tenants]); return err }
	}
	inTurn(b, func() {}, []way{
		{"empty", func() error { _, err := s.pool.Exec(b.Context(), "SELECT 1"); return err }},
		{"head", func() error { _, err := s.Head(b.Context(), sc); return err }},
		{"32-heads-of-1-tenant", heads(1)},
		{"32-heads-of-4-tenants", heads(4)},
		{"32-heads-of-32-tenants", heads(32)},
		{"snapshot-of-90-days", func() error { _, err := s.Snapshot(b.Context(), sc, 0); return err }},
	})
}

// way is one of several things to measure against each other.
type way struct {
	name string
	run  func() error
}

// inTurn runs the ways again and again, each round after next, and gives how long
// each took as a multiple of the first, by the medians.
func inTurn(b *testing.B, next func(), ways []way) {
	took := make([][]time.Duration, len(ways))
	for b.Loop() {
		next()
		for i, w := range ways {
			start := time.Now()
			if err := w.run(); err != nil {
				b.Fatal(err)
			}
			took[i] = append(took[i], time.Since(start))
		}
	}
	median := func(i int) float64 {
		slices.Sort(took[i])
		return took[i][len(took[i])/2].Seconds()
	}
	base := median(0)
	b.ReportMetric(1e6*base, ways[0].name+"-us")
	for i, w := range ways[1:] {
		b.ReportMetric(median(1+i)/base, w.name+"/"+ways[0].name)
	}
}

func BenchmarkUpdateOneEntry(b *testing.B) {
	s, sc := benchStore(b)
	i := 0
	for b.Loop() {
		i++
		once := store.Once{Method: "/m", RequestID: fmt.Sprint(i), BodyHash: "h"}
		mustPut(b, s, sc, once, []engine.Entry{{Day: 89, Key: "1", Fact: engine.WeighIn{Weight: engine.Kg(78 + float64(i%8)/10)}}})
	}
}

// copyRows are stored entries as COPY takes them.
func copyRows(sc store.Scope, of []entryRow) [][]any {
	var out [][]any
	for _, r := range of {
		out = append(out, []any{sc.Tenant, sc.Trainee, int32(r.Day), int16(r.Kind), r.Key, r.note, r.fact})
	}
	return out
}

func stored(b *testing.B, entries []engine.Entry) []entryRow {
	out, err := rowsOf(entries)
	if err != nil {
		b.Fatal(err)
	}
	return out
}

var entryColumns = []string{"tenant", "trainee", "day", "kind", "key", "note", "fact"}

// insertOrUpdate is the usual upsert, which finds out by itself what is new.
const insertOrUpdate = insertEntries + ` ON CONFLICT (tenant, trainee, day, kind, key) DO UPDATE SET note = excluded.note, fact = excluded.fact
WHERE (entry.note, entry.fact) IS DISTINCT FROM (excluded.note, excluded.fact)`

// entriesOnly is the part of a write that stores entries: the head, the read of
// the touched days where the way needs it, the insert and the commit, without
// roll-ups and without due talks.
func entriesOnly(b *testing.B, s *Store, sc store.Scope, of []entryRow, query string, read bool) error {
	v, err := s.open(b.Context(), sc)
	if err != nil {
		return err
	}
	defer v.end()
	tx := &writeTx{view: *v}
	err = tx.start(beginWrite, func(q *pgx.Batch) { q.Queue(bumpHead, sc.Tenant, sc.Trainee, s.now().Unix()).QueryRow(tx.scanTrainee) })
	if err == nil && read {
		var days []engine.Day
		for _, r := range of {
			days = append(days, r.Day)
		}
		_, err = tx.readTouched(&pgx.Batch{}, slices.Compact(days))
	}
	if err == nil {
		err = tx.commit(func(q *pgx.Batch) { tx.queueEntries(q, query, of) })
	}
	return err
}

// BenchmarkIngest500 stores batches of 500 entries in several ways, in turn, so that
// whatever else the machine does meets all of them alike, and gives the time of each
// as a multiple of the first: the same rows, encoded beforehand, into the same table by
// binary COPY, one batch a transaction and nothing else, by a superuser, whom no
// policy concerns (COPY FROM refuses everybody else on a table with policies).
func BenchmarkIngest500(b *testing.B) {
	s := newStore(b)
	defer s.Close()
	super := outside(b, s, pgtest.Super)
	again := keptDays(0, batchDays)
	scope := func(name string) store.Scope { return store.Scope{Tenant: "gym", Trainee: name} }
	var entries []engine.Entry
	var of []entryRow
	day := engine.Day(1000)
	next := func() {
		entries = keptDays(day, batchDays)
		of = stored(b, entries)
		day += batchDays
	}
	ways := []way{
		{"copy", func() error {
			_, err := super.CopyFrom(b.Context(), pgx.Identifier{"entry"}, entryColumns, pgx.CopyFromRows(copyRows(scope("copy"), of)))
			return err
		}},
		{"insert-as-superuser", func() error {
			q := &pgx.Batch{}
			tx := &writeTx{view: view{scope: scope("insert-as-superuser")}}
			tx.queueEntries(q, insertEntries, of)
			return super.SendBatch(b.Context(), q).Close()
		}},
		{"entries-only", func() error { return entriesOnly(b, s, scope("entries-only"), of, insertEntries, true) }},
		{"entries-only-on-conflict", func() error {
			return entriesOnly(b, s, scope("entries-only-on-conflict"), of, insertOrUpdate, false)
		}},
		{"write", func() error { mustPut(b, s, scope("write"), store.Once{}, entries); return nil }},
		{"write-again", func() error { mustPut(b, s, scope("write-again"), store.Once{}, again); return nil }},
	}
	for _, w := range ways {
		create(b, s, scope(w.name))
		mustPut(b, s, scope(w.name), store.Once{}, again)
	}
	inTurn(b, next, ways)
}

// BenchmarkCopyOnce is one COPY of a hundred such batches.
func BenchmarkCopyOnce(b *testing.B) {
	s, sc := benchStore(b)
	db := outside(b, s, pgtest.Super)
	day := engine.Day(1000)
	for b.Loop() {
		of := copyRows(sc, stored(b, keptDays(day, 100*batchDays)))
		if _, err := db.CopyFrom(b.Context(), pgx.Identifier{"entry"}, entryColumns, pgx.CopyFromRows(of)); err != nil {
			b.Fatal(err)
		}
		day += 100 * batchDays
	}
	b.ReportMetric(float64(b.N*100*500)/b.Elapsed().Seconds(), "entries/s")
}
