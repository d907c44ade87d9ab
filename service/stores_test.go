//go:build unix

package service_test

import (
	"errors"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"example.com/steelyard/service"
	"example.com/steelyard/service/store/postgres/pgtest"
)

// TestStoresAgree tells the same story to a service over SQLite and to one over
// PostgreSQL, which serves as a role that owns nothing and has made its own schema:
// every answer and every error must be the same.
func TestStoresAgree(t *testing.T) {
	db := startPostgres(t)
	bySQLite := startWith(t, samePepper)
	byPostgres := startWith(t, func(c *service.Config) { onPostgres(c, db); samePepper(c) })
	all := methods()
	for _, s := range story() {
		t.Run(s.method[strings.LastIndex(s.method, "/")+1:]+" "+s.note, func(t *testing.T) {
			m := all[s.method]
			want, got := bySQLite.callGRPC(t, m, s), byPostgres.callGRPC(t, m, s)
			if !proto.Equal(want.err, got.err) {
				t.Fatalf("errors differ\nSQLite     %v\nPostgreSQL %v", want.err, got.err)
			}
			if len(want.answers) != len(got.answers) {
				t.Fatalf("SQLite answers %d messages, PostgreSQL %d", len(want.answers), len(got.answers))
			}
			for i := range want.answers {
				if w, g := settled(want.answers[i]), settled(got.answers[i]); !proto.Equal(w, g) {
					t.Errorf("answers differ\nSQLite     %v\nPostgreSQL %v", w, g)
				}
			}
		})
	}
}

// startPostgres starts a server with an empty database "log".
func startPostgres(t *testing.T) *pgtest.Server {
	t.Helper()
	db, err := pgtest.Start()
	if errors.Is(err, pgtest.ErrNoBinaries) {
		t.Skip(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(db.Close)
	if err := db.Exec("postgres", `CREATE DATABASE log OWNER `+pgtest.Owner); err != nil {
		t.Fatal(err)
	}
	return db
}

// onPostgres serves from that database, in which nothing is owned by who serves.
func onPostgres(c *service.Config, db *pgtest.Server) {
	c.StoreURL, c.StoreOwnerURL = service.Secret(db.URL(pgtest.Runtime, "log")), service.Secret(db.URL(pgtest.Owner, "log"))
	c.KeyPepper = "a pepper of this test"
	c.DataDir += "/never-made"
}
