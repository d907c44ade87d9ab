//go:build unix

package postgres

import (
	"context"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres/pgtest"
)

// childVariable names what a process that a test started is to do.
const childVariable = "STEELYARD_STORE_CHILD"

var testingContext = context.Background() // of what comes before any test

// All names and numbers of these tests are invented.
var (
	ada    = store.Scope{Tenant: "north-gym", Trainee: "ada"}
	bo     = store.Scope{Tenant: "north-gym", Trainee: "bo"}
	adaToo = store.Scope{Tenant: "south-gym", Trainee: "ada"}
)

func weighIn(day engine.Day, kg float64) engine.Entry {
	return engine.Entry{Day: day, Key: "1", Fact: engine.WeighIn{Weight: engine.Kg(kg)}}
}

// act is an audit record that no test looks at.
func act() store.AuditRecord {
	return store.AuditRecord{ID: store.NewAuditID(time.Now()), At: time.Now()}
}

func noAnswer(store.Head) ([]byte, error) { return nil, nil }

// noWrite writes nothing and answers nothing.
func noWrite(store.Tx) (store.Answer, error) { return noAnswer, nil }

func create(t testing.TB, s *Store, sc store.Scope) {
	t.Helper()
	if _, err := s.Create(t.Context(), sc, store.Once{}, store.Trainee{}, noWrite); err != nil {
		t.Fatal(err)
	}
}

func mustPut(t testing.TB, s *Store, sc store.Scope, once store.Once, entries []engine.Entry) {
	t.Helper()
	_, err := s.Update(t.Context(), sc, once, func(tx store.Tx) (store.Answer, error) {
		return noAnswer, tx.PutEntries(entries)
	})
	if err != nil {
		t.Fatal(err)
	}
}

// stopRenewing ends the worker as a crash does: what is stale stays it.
func stopRenewing(s *Store) {
	s.renewer.stop()
	<-s.renewer.done
}

// database returns the name of a store's database.
func database(s *Store) string { return s.pool.Config().ConnConfig.Database }

// outside connects to a store's database as a role, with the schema on its path.
func outside(t testing.TB, s *Store, role string) *pgx.Conn {
	t.Helper()
	cfg, err := pgx.ParseConfig(server.SocketURL(role, database(s)))
	if err != nil {
		t.Fatal(err)
	}
	cfg.RuntimeParams["search_path"] = schema
	db, err := pgx.ConnectConfig(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close(context.Background()) })
	return db
}

// tenantTables returns the names of all tables with a column tenant, partitions
// too, or only those that are reached by name.
func tenantTables(t testing.TB, s *Store, partitions bool) []string {
	t.Helper()
	found, err := outside(t, s, pgtest.Super).Query(t.Context(), `SELECT c.relname FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid
WHERE c.relkind IN ('r', 'p') AND a.attname = 'tenant' AND c.relnamespace NOT IN ('pg_catalog'::regnamespace, 'information_schema'::regnamespace)
AND ($1 OR NOT c.relispartition) ORDER BY 1`, partitions)
	if err != nil {
		t.Fatal(err)
	}
	tables, err := pgx.CollectRows(found, pgx.RowTo[string])
	if err != nil || len(tables) < 10 {
		t.Fatalf("tables %v, %v", tables, err)
	}
	return tables
}

// clear empties every table.
func clear(t testing.TB, db string) {
	t.Helper()
	if err := server.Exec(db, `DELETE FROM steelyard.trainee`, `DELETE FROM steelyard.entry`, `DELETE FROM steelyard.day_rollup`, `DELETE FROM steelyard.api_key`,
		`DELETE FROM steelyard.audit`, `DELETE FROM steelyard.tenant`); err != nil {
		t.Fatal(err)
	}
}

// count returns what a query of one number finds.
func count(t testing.TB, db *pgx.Conn, query string, args ...any) (n int) {
	t.Helper()
	if err := db.QueryRow(t.Context(), query, args...).Scan(&n); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	return n
}

// run runs a statement that must succeed.
func run(t testing.TB, db *pgx.Conn, query string, args ...any) {
	t.Helper()
	if _, err := db.Exec(t.Context(), query, args...); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
}
