//go:build unix

package postgres

import (
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres/pgtest"
)

// beginPlan makes a trainee with an open plan that starts on day 1.
func beginPlan(t testing.TB, s *Store, sc store.Scope) {
	t.Helper()
	_, err := s.Create(t.Context(), sc, store.Once{}, store.Trainee{}, func(tx store.Tx) (store.Answer, error) {
		plan := engine.DefaultPlan(1)
		plan.ID = "cut"
		_, err := tx.InsertPlan(plan)
		return noAnswer, err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// silentFrom is since when a trainee is due a talk for having stopped logging: some
// days after its last entry.
func silentFrom(t testing.TB, s *Store, sc store.Scope) engine.Day {
	t.Helper()
	talks, err := s.DueTalks(t.Context(), sc.Tenant, store.DueQuery{AsOf: 9999, Reasons: []phase.DueReason{phase.DueStoppedLogging}, Limit: 1000})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(talks, func(d store.DueTalk) bool { return d.Place.Trainee == sc.Trainee })
	if i < 0 {
		t.Fatalf("no talk of %v in %+v", sc, talks)
	}
	return talks[i].From
}

// eventually waits until a query of one number finds what is wanted.
func eventually(t testing.TB, db *pgx.Conn, want int, query string) {
	t.Helper()
	got := 0
	for range 1000 {
		if got = count(t, db, query); got == want {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Errorf("%s: %d, want %d", query, got, want)
}

// The worker derives by itself what was written, and what whoever died before it
// had left.
func TestWorkerDerives(t *testing.T) {
	s := newStore(t)
	db := outside(t, s, pgtest.Super)
	beginPlan(t, s, ada)
	mustPut(t, s, ada, store.Once{}, []engine.Entry{weighIn(50, 70)})
	eventually(t, db, 0, `SELECT count(*) FROM due_stale`)
	const silent = `SELECT coalesce(max(from_day), 0) FROM due_talk WHERE reason = 2`
	if n := count(t, db, silent); n != 54 {
		t.Errorf("from day %d", n)
	}
	stopRenewing(s) // it dies
	mustPut(t, s, ada, store.Once{}, []engine.Entry{weighIn(60, 70)})
	if n := count(t, db, `SELECT count(*) FROM due_stale`); n != 1 {
		t.Fatalf("%d are stale: this test tests nothing", n)
	}
	s.Close()
	s = open(t, server.SocketURL(pgtest.Runtime, database(s)))
	defer s.Close()
	eventually(t, db, 0, `SELECT count(*) FROM due_stale`)
	if n := count(t, db, silent); n != 64 {
		t.Errorf("from day %d after a crash", n)
	}
}

// A list has the talks of each write that was acknowledged before it was asked for,
// whatever became of the worker, and of more trainees than are looked for at once.
func TestListDerivesWhatIsStale(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	stopRenewing(s)
	beginPlan(t, s, ada)
	for day := engine.Day(30); day < 60; day++ {
		mustPut(t, s, ada, store.Once{}, []engine.Entry{weighIn(day, 70)})
		if from := silentFrom(t, s, ada); from != day+4 {
			t.Fatalf("after day %d: from day %d", day, from)
		}
	}
}

// Many writes of one trainee are derived together: the worker rests between.
func TestWritesAreDerivedTogether(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	db := outside(t, s, pgtest.Super)
	for _, q := range []string{
		`CREATE TABLE public.renewed (trainee text)`,
		`CREATE FUNCTION public.note() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS $$ BEGIN INSERT INTO public.renewed VALUES (old.trainee); RETURN old; END $$`,
		`CREATE TRIGGER note AFTER DELETE ON due_stale FOR EACH ROW EXECUTE FUNCTION public.note()`,
	} {
		run(t, db, q)
	}
	beginPlan(t, s, ada)
	const writes = 100
	began := time.Now()
	for i := range writes {
		mustPut(t, s, ada, store.Once{}, []engine.Entry{weighIn(engine.Day(i+1), 70)})
	}
	eventually(t, db, 0, `SELECT count(*) FROM due_stale`)
	most := 2 + int(time.Since(began)/renewAfter)
	if n := count(t, db, `SELECT count(*) FROM public.renewed`); n == 0 || n > most {
		t.Errorf("%d writes were derived %d times, want at most %d", writes, n, most)
	}
	if from := silentFrom(t, s, ada); from != writes+4 {
		t.Errorf("from day %d", from)
	}
}

// Two stores on one database write, derive and list at once: every list has what was
// acknowledged before, of either, and in the end nothing is stale.
func TestTwoStoresDerive(t *testing.T) {
	one := newStore(t)
	defer one.Close()
	other := open(t, server.SocketURL(pgtest.Runtime, database(one)))
	defer other.Close()
	stores := []*Store{one, other}
	var writers sync.WaitGroup
	for i := range 6 {
		sc := store.Scope{Tenant: "north-gym", Trainee: fmt.Sprint("t", i)}
		beginPlan(t, one, sc)
		writers.Go(func() {
			for day := engine.Day(10); day < 30; day++ {
				mustPut(t, stores[int(day)%2], sc, store.Once{}, []engine.Entry{weighIn(day, 70)})
				if from := silentFrom(t, stores[i%2], sc); from != day+4 {
					t.Errorf("%v after day %d: from day %d", sc, day, from)
					return
				}
			}
		})
	}
	writers.Wait()
	db := outside(t, one, pgtest.Super)
	eventually(t, db, 0, `SELECT count(*) FROM due_stale`)
	if n := count(t, db, `SELECT count(*) FROM due_talk WHERE reason = 2 AND from_day = 33`); n != 6 {
		t.Errorf("%d talks", n)
	}
}

// A write under way keeps neither the worker from the other trainees nor a list
// waiting for ever; one whose rows cannot be read keeps nobody else's from being derived.
func TestOneDoesNotKeepOthers(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	db := outside(t, s, pgtest.Super)
	stopRenewing(s)
	for _, sc := range []store.Scope{ada, bo} {
		beginPlan(t, s, sc)
	}
	tx, err := db.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback(t.Context())
	if _, err := tx.Exec(t.Context(), `UPDATE trainee SET revision = revision + 1 WHERE trainee = 'ada'`); err != nil {
		t.Fatal(err)
	}
	if left, err := s.renewAll(t.Context()); !left || err != nil {
		t.Errorf("left %t, %v", left, err)
	}
	watch := outside(t, s, pgtest.Super)
	if n := count(t, watch, `SELECT count(*) FROM due_stale WHERE trainee = 'ada'`); n != 1 || count(t, watch, `SELECT count(*) FROM due_stale`) != 1 {
		t.Errorf("%d", n)
	}
	if _, err := s.DueTalks(t.Context(), ada.Tenant, store.DueQuery{AsOf: 99, Limit: 9}); !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("the list of a trainee who is written: %v", err)
	}
	if err := tx.Rollback(t.Context()); err != nil {
		t.Fatal(err)
	}
	if from := silentFrom(t, s, ada); from != 5 {
		t.Errorf("from day %d", from)
	}

	for _, sc := range []store.Scope{ada, bo} {
		mustPut(t, s, sc, store.Once{}, []engine.Entry{weighIn(9, 70)})
	}
	run(t, db, `UPDATE plan SET terms = '7' WHERE trainee = 'ada'`)
	if _, err := s.renewAll(t.Context()); err == nil || errors.Is(err, store.ErrUnavailable) {
		t.Errorf("a plan that cannot be read: %v", err)
	}
	if n := count(t, watch, `SELECT count(*) FROM due_stale WHERE trainee = 'bo'`); n != 0 {
		t.Error("the other's are not derived")
	}
}
