package sqlite

import (
	"database/sql"
	"testing"
)

// path returns where the file of a store is.
func (s *Store) path(t testing.TB) string {
	t.Helper()
	h, err := s.reader.take(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer s.reader.put(h)
	st, _, err := h.PrepareTransient("SELECT file FROM pragma_database_list")
	if err != nil {
		t.Fatal(err)
	}
	defer st.Finalize()
	if found, err := st.Step(); err != nil || !found {
		t.Fatalf("no file: %v", err)
	}
	return st.ColumnText(0)
}

// exec changes the file on a connection of its own.
func (s *Store) exec(t testing.TB, statements string, args ...any) {
	t.Helper()
	db := connection(t, s.path(t))
	defer db.Close()
	if _, err := db.Exec(statements, args...); err != nil {
		t.Fatalf("%s: %v", statements, err)
	}
}

// look reads the one row of a query on a connection of its own.
func (s *Store) look(t testing.TB, query string, dest ...any) {
	t.Helper()
	db := connection(t, s.path(t))
	defer db.Close()
	if err := db.QueryRow(query).Scan(dest...); err != nil {
		t.Errorf("%s: %v", query, err)
	}
}

// rows has scan read the rows of a query on a connection of its own.
func (s *Store) rows(t testing.TB, scan func(*sql.Rows) error, query string, args ...any) {
	t.Helper()
	db := connection(t, s.path(t))
	defer db.Close()
	rows, err := db.Query(query, args...)
	if err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			t.Fatalf("%s: %v", query, err)
		}
	}
	if err := rows.Err(); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
}

func connection(t testing.TB, path string) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite", dsn(path, writerSettings))
	if err != nil {
		t.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	return db
}

// pragma runs a pragma on the connection of the pool that is used next.
func (p *pool) pragma(t testing.TB, text string) string {
	t.Helper()
	h, err := p.take(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer p.put(h)
	got, err := h.pragma(text)
	if err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	return got
}
