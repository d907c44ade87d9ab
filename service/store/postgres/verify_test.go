//go:build unix

package postgres

import (
	"errors"
	"runtime"
	"strings"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres/pgtest"
)

// wantRefused fails unless a store of a URL does not open, for a reason.
func wantRefused(t *testing.T, url, reason string) {
	t.Helper()
	s, err := Open(t.Context(), url, "", time.Now)
	if err == nil {
		s.Close()
	}
	if err == nil || !strings.Contains(err.Error(), reason) {
		t.Errorf("opened with %v, want %q", err, reason)
	}
}

// A server without the settings that an acknowledged write rests on is refused at
// the start, and found by Ping when it loses them.
func TestRefusesWhatIsNotDurable(t *testing.T) {
	server := ownServer(t)
	url := server.SocketURL(pgtest.Runtime, "log")
	if err := Migrate(t.Context(), server.SocketURL(pgtest.Owner, "log"), pgtest.Runtime); err != nil {
		t.Fatal(err)
	}
	for _, setting := range []string{"fsync=off", "full_page_writes=off", "synchronous_commit=off", "synchronous_commit=local"} {
		server.Stop()
		if err := server.Run(setting); err != nil {
			t.Fatal(err)
		}
		name, value, _ := strings.Cut(setting, "=")
		wantRefused(t, url, name+" is "+value)
	}
	server.Stop()
	if err := server.Run(); err != nil {
		t.Fatal(err)
	}
	s := open(t, url)
	defer s.Close()
	if err := server.Exec("postgres", `ALTER SYSTEM SET fsync = off`, `SELECT pg_reload_conf()`); err != nil {
		t.Fatal(err)
	}
	var err error
	for range 500 { // the server tells its processes in its own time
		if err = s.Ping(t.Context()); err != nil {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if err == nil || !strings.Contains(err.Error(), "fsync is off") {
		t.Errorf("ping: %v", err)
	}
}

// A standby is refused. Once it takes over it serves, and no head of before is one
// of it: it may lack writes, and their revisions will come again.
func TestStandbyAndTakeover(t *testing.T) {
	server := ownServer(t)
	url := server.SocketURL(pgtest.Runtime, "log")
	s, err := Open(t.Context(), url, server.SocketURL(pgtest.Owner, "log"), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	create(t, s, ada)
	mustPut(t, s, ada, store.Once{}, []engine.Entry{weighIn(1, 70)})
	before, err := s.Head(t.Context(), ada)
	if err != nil {
		t.Fatal(err)
	}
	server.Stop()
	if err := server.Standby(); err != nil {
		t.Fatal(err)
	}
	if err := server.Run(); err != nil {
		t.Fatal(err)
	}
	wantRefused(t, url, "standby")
	// The open store does not serve from it either, once its dead connections are gone.
	for range s.pool.Stat().TotalConns() + 1 {
		if _, err = s.Head(t.Context(), ada); !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("head of a standby: %v", err)
		}
	}
	if err := server.Exec("postgres", `SELECT pg_promote()`); err != nil {
		t.Fatal(err)
	}
	for _, s := range []*Store{s, open(t, url)} {
		after, err := s.Head(t.Context(), ada)
		if err != nil || after.Incarnation == before.Incarnation || len(after.Incarnation) != 32 || after.Revision != before.Revision {
			t.Errorf("head %+v after %+v (%v)", after, before, err)
		}
		snap, err := s.Snapshot(t.Context(), ada, 1)
		heads, headsErr := s.Heads(t.Context(), []store.Scope{ada})
		if err != nil || headsErr != nil || snap.Head != after || heads[0].Head != after {
			t.Errorf("snapshot at %+v, heads %+v, head %+v (%v, %v)", snap.Head, heads, after, err, headsErr)
		}
		s.Close()
	}
}

// A role that the policies do not bind is refused, with or without the schema.
func TestRefusesRolesWithPowers(t *testing.T) {
	needServer(t)
	db := server.Database(t, template)
	wantRefused(t, server.SocketURL(pgtest.Super, db), "superuser true")
	wantRefused(t, server.SocketURL(pgtest.Owner, db), "owner true")
	for _, q := range []string{
		`CREATE ROLE sees_all LOGIN BYPASSRLS`, `CREATE ROLE half_owner LOGIN NOINHERIT IN ROLE ` + pgtest.Owner,
	} {
		if err := server.Exec("postgres", q); err != nil {
			t.Fatal(err)
		}
	}
	defer server.Exec("postgres", `DROP ROLE sees_all`, `DROP ROLE half_owner`)
	wantRefused(t, server.SocketURL("sees_all", db), "BYPASSRLS true")
	wantRefused(t, server.SocketURL("half_owner", db), "owner true")
	wantRefused(t, server.SocketURL("nobody_knows", db), "unavailable")
	wantRefused(t, "postgres://h:port/secret", "not a URL")
}

// The URL says how many connections there are; without a word there are enough for
// calls that wait.
func TestPoolSize(t *testing.T) {
	for url, want := range map[string]int32{
		"postgres://u@h/d": max(16, int32(runtime.NumCPU())), "postgres://u@h/d?pool_max_conns=4": 4, "postgres://u@h/d?pool_max_conns=1": 1,
	} {
		cfg, err := configure(url)
		if err != nil || cfg.MaxConns != want {
			t.Errorf("%s: %d connections, %v; want %d", url, cfg.MaxConns, err, want)
		}
	}
}
