//go:build unix

package postgres

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres/pgtest"
)

// Of two processes that start at once on an empty database, both end with the
// schema in place, made once. The processes are this test binary.
func TestTwoProcessesMigrate(t *testing.T) {
	if url := os.Getenv(childVariable); url != "" {
		if err := Migrate(t.Context(), url, pgtest.Runtime); err != nil {
			t.Fatal(err)
		}
		return
	}
	needServer(t)
	for range 3 {
		db := server.Database(t, "")
		var children []*exec.Cmd
		var outputs []*bytes.Buffer
		for range 2 {
			c := exec.CommandContext(t.Context(), os.Args[0], "-test.run", "^TestTwoProcessesMigrate$")
			c.Env = append(os.Environ(), childVariable+"="+server.SocketURL(pgtest.Owner, db))
			out := &bytes.Buffer{}
			c.Stdout, c.Stderr = out, out
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			children, outputs = append(children, c), append(outputs, out)
		}
		for i, c := range children {
			if err := c.Wait(); err != nil || !strings.Contains(outputs[i].String(), "PASS") {
				t.Errorf("%v: %s", err, outputs[i])
			}
		}
		s := open(t, server.SocketURL(pgtest.Runtime, db))
		if n := count(t, outside(t, s, pgtest.Super), `SELECT count(*) FROM schema_version`); n != len(files()) {
			t.Errorf("%d migrations on record, want %d", n, len(files()))
		}
		create(t, s, ada)
		s.Close()
	}
}

// A schema that is not there, or lacks something, is said to be so; one that has
// more serves, since a newer program may run beside this one.
func TestSchemaVersions(t *testing.T) {
	needServer(t)
	wantRefused(t, server.SocketURL(pgtest.Runtime, server.Database(t, "")), "the schema is at version 0 and this program needs")
	s := newStore(t)
	url := server.SocketURL(pgtest.Runtime, database(s))
	db := outside(t, s, pgtest.Owner)
	s.Close()
	do := func(q string) { run(t, db, q) }
	do(`INSERT INTO schema_version (version) VALUES (99)`)
	open(t, url).Close()
	do(`DELETE FROM schema_version WHERE version = 99`)
	do(`DELETE FROM schema_version WHERE version = (SELECT max(version) FROM schema_version)`)
	wantRefused(t, url, fmt.Sprintf("the schema is at version %d and this program needs %d", len(files())-1, len(files())))
	do(`REVOKE ALL ON SCHEMA steelyard FROM ` + pgtest.Runtime)
	wantRefused(t, url, "start it once with the owner's URL")
}

// What was written as JSON before facts were packed reads as ever, and all days are
// made again, whatever they were.
func TestJSONOfBeforeIsRead(t *testing.T) {
	needServer(t)
	db := server.Database(t, "")
	first, err := migrations.ReadFile(files()[0])
	if err != nil {
		t.Fatal(err)
	}
	owner, err := pgx.Connect(t.Context(), server.SocketURL(pgtest.Owner, db)+"&search_path="+schema)
	if err != nil {
		t.Fatal(err)
	}
	defer owner.Close(t.Context())
	for _, q := range []string{
		`CREATE SCHEMA steelyard`, `CREATE TABLE schema_version (version integer PRIMARY KEY, applied timestamptz NOT NULL DEFAULT now())`,
		string(first), `INSERT INTO schema_version VALUES (1)`,
	} {
		if _, err := owner.PgConn().Exec(t.Context(), q).ReadAll(); err != nil {
			t.Fatal(err)
		}
	}
	if err := server.Exec(db,
		`INSERT INTO steelyard.trainee VALUES ('north-gym', 'ada', 'x', 1, '', 'UTC', '{}', 0, 0)`,
		`INSERT INTO steelyard.entry VALUES ('north-gym', 'ada', 1, 1, '1', '', '{"weight":{"v":70,"u":"kg"}}')`,
		`INSERT INTO steelyard.entry SELECT 'gym-' || i % 3, 't' || i, d, 7, '1', '', '{"sleep":3}' FROM generate_series(1, 40) i, generate_series(1, 200) d`,
	); err != nil {
		t.Fatal(err)
	}
	s, err := Open(t.Context(), server.SocketURL(pgtest.Runtime, db), server.SocketURL(pgtest.Owner, db), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	var got []engine.Entry
	err = s.View(t.Context(), ada, func(v store.View) (err error) {
		got, err = v.Entries(store.EntryQuery{To: 9, Limit: 9})
		return err
	})
	if err != nil || len(got) != 1 || got[0] != weighIn(1, 70) {
		t.Errorf("entries %+v, %v", got, err)
	}
	snap, err := s.Snapshot(t.Context(), ada, 1)
	if err != nil || snap.Head.Revision != 2 || len(snap.Window.Days) != 1 || snap.Window.Days[0].WeightKg != engine.Some(70) {
		t.Errorf("at %+v: window %+v, %v", snap.Head, snap.Window, err)
	}
	if n := count(t, outside(t, s, pgtest.Super), `SELECT count(*) FROM day_rollup`); n != 40*7+1 {
		t.Errorf("%d blocks", n)
	}
}

// Days that older rules made are made again by a start with the owner's URL, under
// new heads; one without it refuses to serve them.
func TestOtherRulesOfTheRollup(t *testing.T) {
	s := newStore(t)
	create(t, s, ada)
	mustPut(t, s, ada, store.Once{}, []engine.Entry{weighIn(1, 70), weighIn(3, 71)})
	want, err := s.Snapshot(t.Context(), ada, 0)
	if err != nil {
		t.Fatal(err)
	}
	db, super := database(s), outside(t, s, pgtest.Super)
	s.Close()
	run(t, super, `UPDATE schema_version SET rollup_rules = 0`)
	run(t, super, `UPDATE day_rollup SET packed = '\x01'`)
	wantRefused(t, server.SocketURL(pgtest.Runtime, db), "the days are rolled up by rules 0")
	s, err = Open(t.Context(), server.SocketURL(pgtest.Runtime, db), server.SocketURL(pgtest.Owner, db), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	want.Head.Revision++
	if got, err := s.Snapshot(t.Context(), ada, 0); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v (%v), want %+v", got, err, want)
	}
}

// A database of the first version keeps its trainees and keys, all of whose tenants
// are known to whoever sweeps, and nobody counts as idle for the time before.
func TestFirstVersionIsMigrated(t *testing.T) {
	needServer(t)
	name := server.Database(t, "")
	owner := server.SocketURL(pgtest.Owner, name)
	first, err := migrations.ReadFile(files()[0])
	if err != nil {
		t.Fatal(err)
	}
	if err := server.Exec(name, `CREATE SCHEMA steelyard AUTHORIZATION `+pgtest.Owner,
		`SET ROLE `+pgtest.Owner+`; SET search_path = steelyard;
CREATE TABLE schema_version (version integer PRIMARY KEY, applied timestamptz NOT NULL DEFAULT now());
INSERT INTO schema_version (version) VALUES (1);`+string(first)+`; RESET ROLE`,
		`INSERT INTO steelyard.trainee VALUES ('north-gym', 'ada', 'x', 4, 'Ada', 'UTC', '{}', 5, 6)`,
		`INSERT INTO steelyard.api_key VALUES ('k', 'south-gym', 'old', '\x01', '["log.read"]', 5, NULL, NULL)`); err != nil {
		t.Fatal(err)
	}
	if err := Migrate(t.Context(), owner, pgtest.Runtime); err != nil {
		t.Fatal(err)
	}
	s := open(t, server.SocketURL(pgtest.Runtime, name))
	defer s.Close()
	k, err := s.Key(t.Context(), "k")
	if err != nil || k.Tenant != "south-gym" || k.Trainee != "" || !k.Used.IsZero() {
		t.Errorf("key %+v, %v", k, err)
	}
	tenants, err := s.tenants(t.Context())
	if err != nil || len(tenants) != 2 || tenants[0].name != "north-gym" || tenants[1].name != "south-gym" {
		t.Errorf("tenants %+v, %v", tenants, err)
	}
	if err := s.SetIdleDays(t.Context(), "north-gym", 30, act()); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		days   time.Duration
		erased int
	}{{29, 0}, {31, 1}} {
		got, err := s.Sweep(t.Context(), store.SweepQuery{
			Now: time.Now().Add(c.days * 24 * time.Hour), Limit: 9, Erasure: func(store.Scope) store.AuditRecord { return act() },
		})
		if err != nil || len(got.Erased) != c.erased {
			t.Errorf("after %d days: %+v, %v", c.days, got, err)
		}
	}
}
