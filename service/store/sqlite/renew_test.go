package sqlite

import (
	"database/sql"
	"fmt"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/store"
)

var silence = []phase.DueReason{phase.DueStoppedLogging}

// begin makes a trainee with an open plan from day 100 on.
func begin(t testing.TB, s *Store, sc store.Scope) {
	t.Helper()
	_, err := s.Create(t.Context(), sc, store.Once{}, store.Trainee{TimeZone: "UTC"}, func(tx store.Tx) (store.Answer, error) {
		plan := engine.DefaultPlan(100)
		plan.ID = "cut"
		_, err := tx.InsertPlan(plan)
		return noAnswer, err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// wantSilence fails unless the tenant's only talk of a day far off, besides reviews,
// is that nothing is logged since a day.
func wantSilence(t testing.TB, s *Store, tenant string, since engine.Day) {
	t.Helper()
	got, err := s.DueTalks(t.Context(), tenant, store.DueQuery{AsOf: 1000, Reasons: silence, Limit: 10})
	if err != nil || len(got) != 1 || got[0].From != since+4 {
		t.Errorf("talks %+v, %v; want one from day %d", got, err, since+4)
	}
}

// behind counts the trainees whose talks are of an older head.
func (s *Store) behind(t testing.TB) (n int) {
	t.Helper()
	s.look(t, `SELECT count(*) FROM trainee WHERE due_revision <> revision`, &n)
	return n
}

var bea = store.Scope{Tenant: "east-gym", Trainee: "bea"}

// What a crash has left to do is done by whoever asks, and soon by itself.
func TestDueTalksAfterACrash(t *testing.T) {
	s, path := newStore(t)
	begin(t, s, bea)
	mustPut(t, s, bea, store.Once{}, []engine.Entry{weighIn(120, 80)})
	wantSilence(t, s, bea.Tenant, 120)
	mustPut(t, s, bea, store.Once{}, []engine.Entry{weighIn(130, 80)})
	crash := func() {
		t.Helper()
		s.Close()
		if s = open(t, path); s.behind(t) == 0 {
			t.Fatal("nothing is left to do: this test tests nothing")
		}
	}
	defer func() { s.Close() }()
	crash()
	wantSilence(t, s, bea.Tenant, 130)
	mustPut(t, s, bea, store.Once{}, []engine.Entry{weighIn(140, 80)})
	crash()
	until(t, "the renewer", func() bool { return s.behind(t) == 0 })
	wantSilence(t, s, bea.Tenant, 140)
	if h, err := s.Head(t.Context(), bea); err != nil || h.Revision != 4 {
		t.Errorf("head %+v, %v: deriving is no write", h, err)
	}
}

// Of many writes to one trainee few are derived of.
func TestManyWritesAreDerivedOfFewTimes(t *testing.T) {
	s, _ := newStore(t)
	begin(t, s, bea)
	const count = `CREATE TABLE derived (n INTEGER);
CREATE TRIGGER count_derived AFTER UPDATE OF due_revision ON trainee BEGIN INSERT INTO derived VALUES (1); END`
	s.exec(t, count)
	began := time.Now()
	const writes = 300
	for i := range writes {
		mustPut(t, s, bea, store.Once{}, []engine.Entry{weighIn(engine.Day(110+i), 80)})
	}
	until(t, "the renewer", func() bool { return s.behind(t) == 0 })
	var n int
	s.look(t, `SELECT count(*) FROM derived`, &n)
	if most := int(time.Since(began)/renewAfter) + 2; n < 1 || n > most || most >= writes {
		t.Errorf("derived %d times of %d writes, want at most %d", n, writes, most)
	}
	wantSilence(t, s, bea.Tenant, 110+writes-1)
}

// Whoever asks for the list of a tenant derives all that is to be done there, in
// transactions of some trainees each, and nothing elsewhere.
func TestTenThousandToDerive(t *testing.T) {
	s, _ := newStore(t)
	s.renewer.stop() // who asks is to do it
	many(t, s, 20_000)
	s.exec(t, `UPDATE trainee SET due_revision = iif(trainee LIKE 't%', 0, revision)`)
	done := make(chan error)
	go func() {
		got, err := s.DueTalks(t.Context(), "north-gym", store.DueQuery{AsOf: 10, Limit: 30_000})
		if err == nil && len(got) != 20_000 { // a review and a silence each, of a plan from day 0 on
			err = fmt.Errorf("%d talks", len(got))
		}
		done <- err
	}()
	steps := map[int]bool{}
	for isDone := false; !isDone; {
		select {
		case err := <-done:
			if isDone = true; err != nil {
				t.Error(err)
			}
		case <-time.After(2 * time.Millisecond):
			n := 20_000 - s.behind(t)
			steps[n] = true
			if n%scopeBatch != 0 {
				t.Errorf("%d are done", n)
			}
		}
	}
	if len(steps) < 3 {
		t.Errorf("all was done at once: %v", steps)
	}
	var south int
	if s.look(t, `SELECT count(*) FROM trainee WHERE due_revision <> revision AND tenant = 'south-gym'`, &south); south != 10_000 {
		t.Errorf("of the other tenant %d are left to do", south)
	}
}

// One whose talks cannot be derived fails nobody's write, nor keeps others from
// theirs; who asks for the list is told.
func TestDerivingThatFails(t *testing.T) {
	s, _ := newStore(t)
	carl := store.Scope{Tenant: bea.Tenant, Trainee: "carl"}
	begin(t, s, bea)
	begin(t, s, carl)
	s.exec(t, `UPDATE plan SET terms = '7' WHERE trainee = 'bea'`)
	for range 3 {
		mustPut(t, s, bea, store.Once{}, []engine.Entry{weighIn(120, 80)})
		mustPut(t, s, carl, store.Once{}, []engine.Entry{weighIn(120, 80)})
	}
	until(t, "the renewer", func() bool { return s.behind(t) == 1 })
	if got, err := s.DueTalks(t.Context(), bea.Tenant, store.DueQuery{AsOf: 1000, Limit: 10}); err == nil {
		t.Errorf("no error, but %+v", got)
	}
	s.exec(t, `DELETE FROM plan WHERE trainee = 'bea'`)
	wantSilence(t, s, bea.Tenant, 120)

	many(t, s, 3*scopeBatch)
	s.exec(t, `UPDATE trainee SET due_revision = 0; UPDATE plan SET terms = '7' WHERE tenant = 'north-gym' AND trainee = 't000000'`)
	s.renewer.wake()
	until(t, "the renewer to go on in later transactions", func() bool { return s.behind(t) == 1 })
}

// A write between deriving and storing is seen: what is stored is of the head that
// is noted. One who is erased in between is no error, nor one who is there again.
func TestHeadMovesWhileDeriving(t *testing.T) {
	s, _ := newStore(t)
	s.renewer.stop()
	put := func(r renewal) {
		t.Helper()
		if err := s.write(t.Context(), func(c conn) error { return c.keepDue(r) }); err != nil {
			t.Error(err)
		}
	}
	derive := func() (r renewal) {
		t.Helper()
		err := s.read(t.Context(), bea, func(v *view) (err error) {
			r, err = v.renewal()
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	talks := func(why string, want int) {
		t.Helper()
		var n, from sql.NullInt64
		if s.look(t, `SELECT count(*), max(from_day) FROM due_talk WHERE trainee = 'bea' AND reason = 2`, &n, &from); int(from.Int64) != want {
			t.Errorf("%s: %d talks from day %d; want day %d", why, n.Int64, from.Int64, want)
		}
		if n := s.behind(t); n != 1 { // ada of newStore, whom nobody derives here
			t.Errorf("%s: %d are behind", why, n)
		}
	}
	begin(t, s, bea)
	r := derive()
	mustPut(t, s, bea, store.Once{}, []engine.Entry{weighIn(120, 80)})
	put(r)
	talks("written in between", 124)

	erase(t, s, bea)
	put(r)
	talks("erased in between", 0)

	begin(t, s, bea)
	mustPut(t, s, bea, store.Once{}, []engine.Entry{weighIn(150, 80)}) // the same revision of another incarnation
	r = derive()
	erase(t, s, bea)
	begin(t, s, bea)
	mustPut(t, s, bea, store.Once{}, []engine.Entry{weighIn(160, 80)})
	put(r)
	talks("another one by now", 164)
}

func erase(t *testing.T, s *Store, sc store.Scope) {
	t.Helper()
	if _, err := s.Erase(t.Context(), sc, act()); err != nil {
		t.Fatal(err)
	}
}
