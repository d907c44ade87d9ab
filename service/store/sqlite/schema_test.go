package sqlite

import (
	"bytes"
	"database/sql"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// tenantless are the statements and tables that belong to no trainee's data:
// keys are found before their tenant is known, a ping asks for nobody, and what
// an update has left to do is done for all; a new trainee's id is of none before.
var tenantless = []string{
	selectTables, selectKey, insertKey, useKey, selectStale, selectTraineesAfter, selectRollupRules, markRestored, selectRetention, deleteOldOnces, deleteOldAudit,
	nextTraineeID,
	"goose_db_version", "sqlite_sequence", "api_key", "last_trainee_id",
}

// byID are the tables that lead with a trainee's id, which only its scope leads to.
var byID = []string{"day_rollup", "entry", "once"}

// ofTenant are the tables of a tenant, some of whose rows are about a trainee.
var ofTenant = []string{"audit", "retention"}

// Every statement is bound to a tenant, and to a trainee unless it is about keys or
// the audit trail or lists who of a tenant is due a talk or idle.
func TestEveryStatementBindsItsScope(t *testing.T) {
	for _, q := range slices.Concat(readQueries, writeQueries) {
		bound := strings.Contains(q, "tenant = ? AND trainee = ?") || strings.Contains(q, "trainee.tenant = ? AND trainee.trainee = ?") || strings.Contains(q, "tenant = ?1 AND trainee = ?2") ||
			regexp.MustCompile(`^INSERT INTO \w+ \(tenant, trainee, `).MatchString(q) ||
			regexp.MustCompile(`(FROM|INTO) (`+strings.Join(byID, "|")+`)\s(WHERE trainee_id = \?|\(trainee_id, )`).MatchString(q)
		switch {
		case strings.Contains(q, " api_key ") || q == selectAudit || q == selectDueTalks || q == selectStaleOf || q == selectIdleDays || q == selectIdleTrainees:
			bound = strings.Contains(q, "tenant = ?")
		case q == insertAudit || q == upsertRetention:
			bound = strings.Contains(q, " (tenant, ")
		}
		if !bound && !slices.Contains(tenantless, q) {
			t.Errorf("not bound: %s", q)
		}
	}
}

// No statement walks a whole table, and none sorts what the key has in order,
// but for the few decisions of a plan. The oldest rows of a table are its first.
func TestNoStatementScans(t *testing.T) {
	s, _ := newStore(t)
	for _, q := range slices.Concat(readQueries, writeQueries) {
		if q == selectTables || q == selectRollupRules || q == markRestored || q == nextTraineeID || q == selectRetention || strings.Contains(q, " VALUES ") { // the schema itself; a number; all trainees; one number; one row a tenant; rows that are given
			continue
		}
		s.rows(t, func(r *sql.Rows) error {
			var id, parent, unused int
			var detail string
			err := r.Scan(&id, &parent, &unused, &detail)
			if (strings.HasPrefix(detail, "SCAN") && q != deleteOldOnces) || (strings.Contains(detail, "TEMP B-TREE") && q != selectDecisionsByDay) {
				t.Errorf("%s: %s", q, detail)
			}
			return err
		}, "EXPLAIN QUERY PLAN "+q, make([]any, parameters(q))...)
	}
}

// parameters counts the parameters of a query.
func parameters(q string) int {
	if numbered := regexp.MustCompile(`\?\d+`).FindAllString(q, -1); numbered != nil {
		return len(slices.Compact(slices.Sorted(slices.Values(numbered))))
	}
	return strings.Count(q, "?")
}

// tables maps each table of the file to its columns in order.
func tables(t *testing.T, s *Store) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	s.rows(t, func(r *sql.Rows) error {
		var table, column string
		err := r.Scan(&table, &column)
		out[table] = append(out[table], column)
		return err
	}, `SELECT m.name, c.name FROM sqlite_schema m, pragma_table_info(m.name) c WHERE m.type = 'table' ORDER BY m.name, c.cid`)
	return out
}

// Every table is strict, and its keys lead with tenant and trainee, or with the
// trainee's id.
func TestEveryTableIsKeyedByScope(t *testing.T) {
	s, _ := newStore(t)
	var names []string
	for table, columns := range tables(t, s) {
		if slices.Contains(tenantless, table) {
			continue
		}
		names = append(names, table)
		first := []string{"tenant", "trainee"}
		if slices.Contains(ofTenant, table) {
			first = first[:1]
		}
		if slices.Contains(byID, table) {
			first = []string{"trainee_id"}
		}
		if !slices.Equal(columns[:len(first)], first) {
			t.Errorf("%s begins with %v", table, columns[:len(first)])
		}
		var strict int
		var ddl string
		if s.look(t, fmt.Sprintf(`SELECT strict FROM pragma_table_list('%s')`, table), &strict); strict != 1 {
			t.Errorf("%s is not strict", table)
		}
		s.look(t, fmt.Sprintf(`SELECT sql FROM sqlite_schema WHERE name = '%s'`, table), &ddl)
		for _, key := range regexp.MustCompile(`(PRIMARY KEY|UNIQUE|FOREIGN KEY) \(([^)]*)\)`).FindAllStringSubmatch(ddl, -1) {
			if !strings.HasPrefix(key[2]+",", strings.Join(first, ", ")+",") {
				t.Errorf("%s: %s", table, key[0])
			}
		}
	}
	slices.Sort(names)
	if want := []string{"audit", "day_rollup", "decision", "due_talk", "entry", "once", "plan", "retention", "trainee", "upload"}; !slices.Equal(names, want) {
		t.Errorf("tables %v, want %v", names, want)
	}
}

// The id of one who was erased is given to nobody else: a row that something else
// left behind, such as a program that does not keep the foreign keys, stays nobody's.
func TestNoIDIsGivenTwice(t *testing.T) {
	s, path := newStore(t)
	mustPut(t, s, ada, store.Once{Method: "/m", RequestID: "r"}, []engine.Entry{weighIn(1, 70)})
	var before, after int
	s.look(t, "SELECT id FROM trainee", &before)
	db, err := sql.Open("sqlite", dsn(path, nil)) // whose foreign keys are off
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec("DELETE FROM trainee"); err != nil {
		t.Fatal(err)
	}
	create(t, s, ada)
	if s.look(t, "SELECT id FROM trainee", &after); after <= before {
		t.Errorf("id %d after %d", after, before)
	}
	snap, err := s.Snapshot(t.Context(), ada, 0)
	if err != nil || len(snap.Window.Days) != 0 {
		t.Errorf("the window has %d days, %v", len(snap.Window.Days), err)
	}
	mustPut(t, s, ada, store.Once{Method: "/m", RequestID: "r"}, nil) // is no replay
	wantRevision(t, s, 2)
}

// canary is a text that is in every part of a log and nowhere else.
const canary = "yellow-bird-7219"

// fillAll writes something into each table.
func fillAll(t *testing.T, s *Store, sc store.Scope) {
	t.Helper()
	once := store.Once{Method: "/m", RequestID: canary, BodyHash: canary}
	_, err := s.Update(t.Context(), sc, once, func(tx store.Tx) (store.Answer, error) {
		if err := tx.PutTrainee(store.Trainee{DisplayName: canary}); err != nil {
			return nil, err
		}
		entries := []engine.Entry{
			{Day: 1, Key: canary, Note: canary, Fact: engine.PhotoSet{Reference: canary}},
			{Day: 1, Key: "1", Note: strings.Repeat(canary, 1000), Fact: engine.LiftSet{Lift: canary, Reps: 5}}, // over several pages
		}
		if err := tx.PutEntries(entries); err != nil {
			return nil, err
		}
		if _, err := tx.InsertPlan(engine.Plan{ID: canary}); err != nil {
			return nil, err
		}
		if _, err := tx.InsertDecision(canary, engine.Decision{ID: canary, By: canary}, []byte(canary)); err != nil {
			return nil, err
		}
		if err := tx.Audit(store.AuditRecord{ID: canary, Actor: canary, Resource: canary}); err != nil {
			return nil, err
		}
		return func(store.Head) ([]byte, error) { return []byte(canary), nil }, tx.PutUpload(store.Upload{ID: canary, SHA256: canary})
	})
	if err != nil {
		t.Fatal(err)
	}
	if talks, err := s.DueTalks(t.Context(), sc.Tenant, store.DueQuery{AsOf: 100, Limit: 1}); err != nil || len(talks) == 0 { // are derived now
		t.Fatalf("%d talks, %v", len(talks), err)
	}
	k := store.Key{ID: canary, Tenant: sc.Tenant, Trainee: sc.Trainee, Name: canary, Hash: []byte{1}}
	if err := s.PutKey(t.Context(), k, act()); err != nil {
		t.Fatal(err)
	}
}

// inFiles counts the canaries in the database and its write-ahead log.
func inFiles(t *testing.T, path string) (n int) {
	t.Helper()
	files, err := filepath.Glob(path + "*")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		content, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		n += bytes.Count(content, []byte(canary))
	}
	return n
}

// An erasure leaves no row in any table that a trainee's data may be in, whatever
// tables there are, and no byte in the files.
func TestErasureLeavesNothing(t *testing.T) {
	s, path := newStore(t)
	fillAll(t, s, ada)
	for table, columns := range tables(t, s) {
		where := fmt.Sprintf(`trainee = '%s'`, ada.Trainee)
		switch {
		case slices.Contains(columns, "trainee_id"):
			where = fmt.Sprintf(`trainee_id = (SELECT id FROM trainee WHERE %s)`, where)
		case !slices.Contains(columns, "trainee"):
			continue
		}
		var n int
		if s.look(t, fmt.Sprintf(`SELECT count(*) FROM %s WHERE %s`, table, where), &n); n == 0 {
			t.Errorf("%s: %d rows before the erasure", table, n)
		}
	}
	if inFiles(t, path) == 0 {
		t.Error("nothing in the files before the erasure")
	}
	if _, err := s.Erase(t.Context(), ada, act()); err != nil {
		t.Fatal(err)
	}
	for _, table := range slices.Sorted(maps.Keys(tables(t, s))) {
		if slices.Contains(tenantless, table) && table != "api_key" {
			continue
		}
		want := 0
		if table == "audit" {
			want = 1 // that there was an erasure
		}
		var n int
		if s.look(t, `SELECT count(*) FROM `+table, &n); n != want {
			t.Errorf("%s: %d rows after the erasure", table, n)
		}
	}
	wantNoTraces(t, s, path)
}

// While a reader stands on the state before, its pages cannot go. The erasure
// does not wait for it; the write after it cleans up.
func TestErasureUnderAReader(t *testing.T) {
	s, path := newStore(t)
	bo := store.Scope{Tenant: ada.Tenant, Trainee: "bo"}
	create(t, s, bo)
	fillAll(t, s, ada)
	err := s.View(t.Context(), bo, func(store.View) error {
		_, err := s.Erase(t.Context(), ada, act())
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if inFiles(t, path) == 0 {
		t.Error("the reader's pages are gone: this test tests nothing")
	}
	mustPut(t, s, bo, store.Once{}, []engine.Entry{weighIn(1, 70)})
	wantNoTraces(t, s, path)
}

// Without a further write it is cleaned up soon after the reader has gone.
func TestErasureUnderAReaderIsFinished(t *testing.T) {
	s, path := newStore(t)
	bo := store.Scope{Tenant: ada.Tenant, Trainee: "bo"}
	create(t, s, bo)
	fillAll(t, s, ada)
	err := s.View(t.Context(), bo, func(store.View) error {
		_, err := s.Erase(t.Context(), ada, act())
		return err
	})
	if err != nil || inFiles(t, path) == 0 {
		t.Fatalf("nothing is left to do: this test tests nothing (%v)", err)
	}
	wantNoTraces(t, s, path)
}

// wantNoTraces waits a while, for the renewer reads too.
func wantNoTraces(t *testing.T, s *Store, path string) {
	t.Helper()
	until(t, "the traces in the files to go", func() bool { return inFiles(t, path) == 0 && !s.residue.Load() })
}

func until(t *testing.T, what string, isSo func() bool) {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); !isSo(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("waited in vain for %s", what)
		}
	}
}
