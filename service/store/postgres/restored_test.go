//go:build unix

package postgres

import (
	"testing"
	"time"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres/pgtest"
)

// Every trainee of every tenant gets another incarnation at the same revision, and
// the policies hold for the owner as before.
func TestRestored(t *testing.T) {
	needServer(t)
	db := server.Database(t, template)
	owner := server.SocketURL(pgtest.Owner, db)
	s, err := Open(t.Context(), server.SocketURL(pgtest.Runtime, db), "", time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	scopes := []store.Scope{{Tenant: "north-gym", Trainee: "ada"}, {Tenant: "south-gym", Trainee: "ada"}}
	before := map[store.Scope]store.Head{}
	for _, sc := range scopes {
		create(t, s, sc)
		if before[sc], err = s.Head(t.Context(), sc); err != nil {
			t.Fatal(err)
		}
	}
	if n, err := Restored(t.Context(), owner); err != nil || n != len(scopes) {
		t.Fatalf("%d trainees, %v", n, err)
	}
	for _, sc := range scopes {
		h, err := s.Head(t.Context(), sc)
		if err != nil || h.Incarnation == before[sc].Incarnation || len(h.Incarnation) != 32 || h.Revision != before[sc].Revision {
			t.Errorf("%+v after %+v, %v", h, before[sc], err)
		}
	}
	if n, err := Restored(t.Context(), server.SocketURL(pgtest.Runtime, db)); err == nil {
		t.Errorf("as another role than the owner: %d trainees", n)
	}
	if err := server.Exec(db, `DO $$ BEGIN ASSERT (SELECT relforcerowsecurity FROM pg_class WHERE oid = 'steelyard.trainee'::regclass); END $$`); err != nil {
		t.Error(err)
	}
}
