//go:build unix

package main

import (
	"database/sql"
	"errors"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	_ "modernc.org/sqlite"

	"example.com/steelyard/service/store/postgres/pgtest"
	"example.com/steelyard/testdata/trials"
)

// A server on SQLite that is killed again and again under four writers keeps
// everything that it acknowledged, and of what it did not acknowledge all or nothing.
func TestKilledUnderLoad_SQLite(t *testing.T) {
	rng, kills := trials.Chance(t), trials.Count(200, 2000)
	bin, dir := buildBinary(t), t.TempDir()
	key := makeKey(t, bin, dir, "--scope", "log.write,log.read,plan.write")
	p := startProcess(t, bin, dir, freePorts, anyRate)
	l, end := startCrowd(t, rng, p.listen.GRPC, key)
	for range kills {
		l.progress(t, 1+rng.IntN(6))
		time.Sleep(between(rng, 0, 15*time.Millisecond)) // to meet any moment of a write
		_ = p.end(syscall.SIGKILL)                       // its end is the point
		p = restartProcess(t, bin, dir, p.listen, anyRate)
	}
	l.progress(t, 1)
	end()
	_ = p.end(syscall.SIGKILL)
	checkFile(t, filepath.Join(dir, "steelyard.db"))
	p = restartProcess(t, bin, dir, p.listen, anyRate)
	acked, unknown, kept := l.check(t, dialAgain(t, p.listen.GRPC, key))
	t.Logf("%d kills, %d writes acknowledged, %d unknown, %d of these are there", kills, acked, unknown, kept)
	if unknown < kills/4 {
		t.Errorf("%d kills met only %d writes: nothing was proved", kills, unknown)
	}
}

// anyRate keeps the limits on calls out of the way: who is killed is slow enough.
const anyRate = "STEELYARD_KEY_RATE=-1"

// checkFile lets SQLite itself look for damage.
func checkFile(t *testing.T, path string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var verdict string
	if err := db.QueryRow("PRAGMA integrity_check").Scan(&verdict); err != nil || verdict != "ok" {
		t.Errorf("integrity: %s, %v", verdict, err)
	}
}

// The same over PostgreSQL, where either the service or the database is killed.
func TestKilledUnderLoad_PostgreSQL(t *testing.T) {
	db, env := postgresFor(t)
	for _, c := range []struct {
		name   string
		isData bool
	}{{"the service", false}, {"the database", true}} {
		t.Run(c.name, func(t *testing.T) {
			rng, kills := trials.Chance(t), trials.Count(20, 200)
			bin, dir := buildBinary(t), t.TempDir()
			key := makeKeyWith(t, bin, dir, env, "--tenant", map[bool]string{false: "a", true: "b"}[c.isData], "--scope", "log.write,log.read,plan.write")
			p := startProcess(t, bin, dir, freePorts, env...)
			defer func() { _ = p.end(syscall.SIGKILL) }()
			l, end := startCrowd(t, rng, p.listen.GRPC, key)
			for range kills {
				l.progress(t, 1+rng.IntN(10))
				time.Sleep(between(rng, 0, 15*time.Millisecond))
				if c.isData {
					db.Kill()
					if err := db.Run(); err != nil {
						t.Fatal(err)
					}
					continue
				}
				_ = p.end(syscall.SIGKILL)
				p = restartProcess(t, bin, dir, p.listen, env...)
			}
			l.progress(t, 1)
			end()
			acked, unknown, kept := l.check(t, dialAgain(t, p.listen.GRPC, key))
			t.Logf("%d kills, %d writes acknowledged, %d unknown, %d of these are there", kills, acked, unknown, kept)
			if unknown < kills/4 {
				t.Errorf("%d kills met only %d writes: nothing was proved", kills, unknown)
			}
		})
	}
}

// postgresFor starts a PostgreSQL, and returns what tells a server to use it.
func postgresFor(t *testing.T) (*pgtest.Server, []string) {
	t.Helper()
	db := startPostgres(t)
	return db, []string{
		"STEELYARD_STORE_URL=" + db.URL(pgtest.Runtime, "log"), "STEELYARD_STORE_OWNER_URL=" + db.URL(pgtest.Owner, "log"),
		"STEELYARD_KEY_PEPPER=a pepper of this test", anyRate,
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
