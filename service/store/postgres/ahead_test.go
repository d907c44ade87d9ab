//go:build unix

package postgres

import (
	"context"
	"errors"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres/pgtest"
)

// lots are more entries than are sent ahead.
func lots(first engine.Day) []engine.Entry {
	entries := keptDays(first, 2*batchDays+10)
	if rest := len(entries) % atOnce; len(entries) < 2*atOnce || rest == 0 || rest >= many {
		panic("not some statements, and a rest that is left for later")
	}
	return entries
}

// The server stores many entries while the rest of their transaction is made.
func TestManyEntriesAreSentAhead(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	create(t, s, ada)
	watch := outside(t, s, pgtest.Super)
	_, err := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		if err := tx.PutEntries(lots(0)); err != nil {
			return nil, err
		}
		for began := time.Now(); count(t, watch, `SELECT count(*) FROM pg_stat_activity WHERE query = $1`, insertEntries) == 0; {
			if time.Since(began) > 10*time.Second {
				t.Fatal("the server has not begun")
			}
		}
		return noAnswer, nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// Whatever follows entries that were sent ahead finds them, and what is stored in the
// end is what few at a time come to.
func TestWhatIsSentAheadIsStoredAsEver(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	create(t, s, ada)
	create(t, s, adaToo)
	changed := lots(60)
	for i := range changed {
		changed[i].Note = "again"
	}
	all := store.EntryQuery{To: math.MaxInt32, Limit: math.MaxInt32}
	once := store.Once{Method: "/m", RequestID: "r", BodyHash: "h"}
	write := func(tx store.Tx) (store.Answer, error) {
		if err := tx.PutEntries(lots(0)); err != nil {
			return nil, err
		}
		found, err := tx.Entries(all)
		if err != nil || !reflect.DeepEqual(found, lots(0)) {
			t.Errorf("%d entries within the transaction, %v", len(found), err)
		}
		err = errors.Join(tx.PutUpload(store.Upload{ID: "u", NextSeq: 1}), tx.PutEntries(changed), tx.PutUpload(store.Upload{ID: "u", NextSeq: 2}))
		return func(store.Head) ([]byte, error) { return []byte("answer"), nil }, err
	}
	for range 2 { // the second is a replay
		if answer, err := s.Update(t.Context(), ada, once, write); err != nil || string(answer) != "answer" {
			t.Fatalf("%q, %v", answer, err)
		}
	}
	for part := range slices.Chunk(slices.Concat(lots(0), changed), many/2) {
		mustPut(t, s, adaToo, store.Once{}, part)
	}
	var found [2][]engine.Entry
	var windows [2]engine.Window
	for i, sc := range []store.Scope{ada, adaToo} {
		err := s.View(t.Context(), sc, func(v store.View) (err error) {
			if i == 0 {
				if u, err := v.Upload("u"); err != nil || u.NextSeq != 2 {
					t.Errorf("upload %+v, %v", u, err)
				}
			}
			found[i], err = v.Entries(all)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		snap, err := s.Snapshot(t.Context(), sc, 0)
		if err != nil {
			t.Fatal(err)
		}
		windows[i] = snap.Window
	}
	if len(found[0]) < len(changed) || !reflect.DeepEqual(found[0], found[1]) {
		t.Errorf("%d entries, want %d", len(found[0]), len(found[1]))
	}
	if !reflect.DeepEqual(windows[0], windows[1]) {
		t.Errorf("window\n%+v, want\n%+v", windows[0], windows[1])
	}
	if h, err := s.Head(t.Context(), ada); err != nil || h.Revision != 2 {
		t.Errorf("head %+v, %v", h, err)
	}
}

// A transaction that does not come to its end leaves nothing of what it sent ahead,
// and its connection serves the next one.
func TestWhatIsSentAheadIsUndone(t *testing.T) {
	needServer(t)
	s := open(t, server.SocketURL(pgtest.Runtime, server.Database(t, template))+"&pool_max_conns=1")
	defer s.Close()
	stopRenewing(s)
	create(t, s, ada)
	super := outside(t, s, pgtest.Super)
	run(t, super, `ALTER TABLE entry ADD CONSTRAINT refused CHECK (day <> 1)`)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	failure := errors.New("of the write")
	for _, c := range []struct {
		what  string
		first engine.Day
		then  func(tx store.Tx) (store.Answer, error)
		want  func(error) bool
	}{
		{"the write fails", 2, func(store.Tx) (store.Answer, error) { return nil, failure }, func(err error) bool { return err == failure }},
		{"the server refuses an entry", 1, func(store.Tx) (store.Answer, error) { return noAnswer, nil },
			func(err error) bool { return code(err) == "23514" && !errors.Is(err, store.ErrUnavailable) }},
		{"the server refuses an entry, and something else is asked", 1, func(tx store.Tx) (store.Answer, error) {
			_, err := tx.Upload("u")
			return noAnswer, err
		}, func(err error) bool { return code(err) == "23514" }},
		{"the server refuses what comes after", 2, func(tx store.Tx) (store.Answer, error) {
			return noAnswer, tx.PutUpload(store.Upload{ID: "\x00"})
		}, func(err error) bool { return err != nil }},
		{"the write panics", 2, func(store.Tx) (store.Answer, error) { panic(failure) }, func(err error) bool { return err == failure }},
		{"the caller leaves", 2, func(store.Tx) (store.Answer, error) { cancel(); return noAnswer, nil },
			func(err error) bool { return errors.Is(err, context.Canceled) }},
	} {
		err := func() (err error) {
			defer func() {
				if p := recover(); p != nil {
					err = p.(error)
				}
			}()
			_, err = s.Update(ctx, ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
				if err := tx.PutEntries(lots(c.first)); err != nil {
					t.Errorf("%s: put: %v", c.what, err)
				}
				return c.then(tx)
			})
			return err
		}()
		if !c.want(err) {
			t.Errorf("%s: %v", c.what, err)
		}
		if h, err := s.Head(t.Context(), ada); err != nil || h.Revision != 1 {
			t.Errorf("%s: head %+v, %v", c.what, h, err)
		}
		for _, table := range []string{"entry", "day_rollup"} {
			if n := count(t, super, `SELECT count(*) FROM `+table); n != 0 {
				t.Errorf("%s: %d rows of %s", c.what, n, table)
			}
		}
	}
	if n := s.pool.Stat().NewConnsCount(); n != 1 {
		t.Errorf("%d connections were made", n)
	}
	mustPut(t, s, ada, store.Once{}, lots(2))
}

// A connection that breaks while the server stores what was sent ahead is what a retry
// may mend.
func TestConnectionBreaksAhead(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	create(t, s, ada)
	super := outside(t, s, pgtest.Super)
	_, err := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		if err := tx.PutEntries(lots(0)); err != nil {
			return nil, err
		}
		pid := int(tx.(*writeTx).pg.Conn().PgConn().PID())
		run(t, super, `SELECT pg_terminate_backend($1)`, pid)
		for count(t, super, `SELECT count(*) FROM pg_stat_activity WHERE pid = $1`, pid) != 0 {
			time.Sleep(time.Millisecond)
		}
		return noAnswer, nil
	})
	if !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("error %v", err)
	}
	mustPut(t, s, ada, store.Once{}, lots(0))
	if h, err := s.Head(t.Context(), ada); err != nil || h.Revision != 2 {
		t.Errorf("head %+v, %v", h, err)
	}
}
