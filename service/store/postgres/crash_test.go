//go:build unix

package postgres

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres/pgtest"
	"example.com/steelyard/service/window"
)

type windowHead = window.HeadResult

// ownServer starts a cluster for one test that ends or changes it.
func ownServer(t testing.TB) *pgtest.Server {
	t.Helper()
	needServer(t)
	s, err := pgtest.Start()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	if err := s.Exec("postgres", `CREATE DATABASE log OWNER `+pgtest.Owner); err != nil {
		t.Fatal(err)
	}
	return s
}

// outcome is what became of the writes of one trainee, by number.
type outcome struct {
	mu           sync.Mutex
	next         int
	acknowledged map[int]bool
	cut          int // writes that had begun and got no answer
}

func (o *outcome) take() int {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.next++
	return o.next
}

func (o *outcome) note(n int, err error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	switch {
	case err == nil:
		o.acknowledged[n] = true
	case !strings.Contains(err.Error(), "connect:"):
		o.cut++
	}
}

// A server that is killed twenty times under four writers has lost nothing that
// it acknowledged, and of a write that it did not acknowledge it has all or
// nothing. Once it is back, the same store goes on.
func TestKilledServerLosesNothing(t *testing.T) {
	kills := 20
	if testing.Short() {
		kills = 3
	}
	server := ownServer(t)
	s, err := Open(t.Context(), server.SocketURL(pgtest.Runtime, "log"), server.SocketURL(pgtest.Owner, "log"), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	scopes := []store.Scope{ada, adaToo}
	outcomes := []*outcome{{acknowledged: map[int]bool{}}, {acknowledged: map[int]bool{}}}
	for _, sc := range scopes {
		create(t, s, sc)
	}
	acknowledged := make(chan struct{}, 1<<20)
	ctx, stop := context.WithCancel(t.Context())
	var writers sync.WaitGroup
	for w := range 4 {
		sc, o := scopes[w%2], outcomes[w%2]
		writers.Go(func() {
			for ctx.Err() == nil {
				n := o.take()
				err := writeNumbered(s, sc, n)
				o.note(n, err)
				switch {
				case err == nil:
					acknowledged <- struct{}{}
				case !errors.Is(err, store.ErrUnavailable):
					t.Errorf("write: %v", err)
					return
				default:
					time.Sleep(10 * time.Millisecond) // it is down
				}
			}
		})
	}
	for round := range kills {
		for range 10 + 7*round%40 {
			<-acknowledged
		}
		server.Kill()
		if err := server.Run(); err != nil {
			t.Fatal(err)
		}
	}
	<-acknowledged // also after the last
	stop()
	writers.Wait()
	cut := 0
	for i, sc := range scopes {
		cut += outcomes[i].cut
		checkNumbered(t, s, sc, outcomes[i])
	}
	if cut == 0 {
		t.Error("no write was cut off: this test tests nothing")
	}
	t.Logf("%d acknowledged, %d cut off", len(outcomes[0].acknowledged)+len(outcomes[1].acknowledged), cut)
}

// writeNumbered puts two days of one number and an upload of its name.
func writeNumbered(s *Store, sc store.Scope, n int) error {
	once := store.Once{Method: "/m", RequestID: fmt.Sprint(n), BodyHash: "h"}
	_, err := s.Update(context.Background(), sc, once, func(tx store.Tx) (store.Answer, error) {
		err := tx.PutEntries([]engine.Entry{weighIn(engine.Day(2*n), float64(n)), weighIn(engine.Day(2*n+1), float64(n))})
		if err != nil {
			return nil, err
		}
		return noAnswer, tx.PutUpload(store.Upload{ID: fmt.Sprint(n), NextSeq: int64(n)})
	})
	return err
}

func checkNumbered(t *testing.T, s *Store, sc store.Scope, o *outcome) {
	t.Helper()
	applied := 0
	err := s.View(t.Context(), sc, func(v store.View) error {
		entries, err := v.Entries(store.EntryQuery{To: 1 << 24, Limit: 1 << 24})
		if err != nil {
			return err
		}
		parts := map[int]int{}
		for _, e := range entries {
			n := int(e.Day / 2)
			if e != weighIn(e.Day, float64(n)) {
				t.Errorf("entry %+v", e)
			}
			parts[n]++
		}
		for n := 1; n <= o.next; n++ {
			u, err := v.Upload(fmt.Sprint(n))
			if err == nil && u.NextSeq == int64(n) {
				parts[n]++
			}
			switch {
			case o.acknowledged[n] && parts[n] != 3:
				t.Errorf("acknowledged write %d: %d of 3 parts", n, parts[n])
			case parts[n] != 3 && parts[n] != 0:
				t.Errorf("write %d: %d of 3 parts", n, parts[n])
			}
			if parts[n] == 3 {
				applied++
			}
		}
		if v.Head().Revision != int64(1+applied) {
			t.Errorf("revision %d after %d writes", v.Head().Revision, applied)
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
	snap, err := s.Snapshot(t.Context(), sc, 0)
	known := 0
	for _, d := range snap.Window.Days {
		if d.WeightKg.OK {
			known++
		}
	}
	if err != nil || known != 2*applied {
		t.Errorf("%d days rolled up of %d writes, %v", known, applied, err)
	}
	// What is on record answers, and is not done again.
	for n := range o.acknowledged {
		if err := writeNumbered(s, sc, n); err != nil {
			t.Errorf("replay of %d: %v", n, err)
		}
		break
	}
	if h, err := s.Head(t.Context(), sc); err != nil || h != snap.Head {
		t.Errorf("head %+v after a replay, %+v before (%v)", h, snap.Head, err)
	}
}
