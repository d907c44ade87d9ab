//go:build unix

package postgres

import (
	"bytes"
	"os"
	"os/exec"
	"strings"
	"testing"

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
	do(`UPDATE schema_version SET version = version - 1`)
	wantRefused(t, url, "the schema is at version 0 and this program needs 1")
	do(`REVOKE ALL ON SCHEMA steelyard FROM ` + pgtest.Runtime)
	wantRefused(t, url, "start it once with the owner's URL")
}
