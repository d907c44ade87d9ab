//go:build unix

package postgres

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// Heads answers for each scope in its place what Head says of it, whatever the
// order of tenants, and for one that does not exist that it does not.
func TestHeadsAreThoseOfHead(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	var all []store.Scope
	for i := range 40 {
		sc := store.Scope{Tenant: fmt.Sprint("gym-", i%7), Trainee: fmt.Sprint("t", i/7)} // the same ids in each
		all = append(all, sc)
		if i%5 == 0 {
			continue // never made
		}
		create(t, s, sc)
		for range i % 3 {
			mustPut(t, s, sc, store.Once{}, nil)
		}
	}
	all = append(all, store.Scope{}, store.Scope{Tenant: "no-such"}, store.Scope{Tenant: "gym-1", Trainee: "o'neill\\"})
	random := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{0, 1, 2, len(all)} {
		random.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
		got, err := s.Heads(t.Context(), all[:n])
		if err != nil || len(got) != n {
			t.Fatalf("%d heads of %d, %v", len(got), n, err)
		}
		for i, r := range got {
			want, err := s.Head(t.Context(), all[i])
			if r.Head != want || r.Found != (err == nil) || (err != nil && !errors.Is(err, store.ErrNotFound)) {
				t.Errorf("%v: %+v, want %+v, %v", all[i], r, want, err)
			}
		}
	}
}

// "It sees every write acknowledged before it was called."
func TestHeadsSeeAcknowledgedWrites(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	create(t, s, ada)
	create(t, s, adaToo)
	for i := range 100 {
		sc := []store.Scope{ada, adaToo}[i%2]
		mustPut(t, s, sc, store.Once{}, []engine.Entry{weighIn(1, float64(i))})
		got, err := s.Heads(t.Context(), []store.Scope{ada, adaToo})
		if err != nil || got[0].Head.Revision+got[1].Head.Revision != int64(3+i) {
			t.Fatalf("after %d: %+v, %v", i+1, got, err)
		}
	}
}

// A writer turns everything over with the parity of the revision, while readers
// look in both ways: what they see is of one revision. Odd: one day with a low
// reading and a name; even: two days with a high one, and another name.
func TestReadsAreNotTorn(t *testing.T) {
	s := newStore(t)
	defer s.Close()
	create(t, s, ada)
	write := func(tx store.Tx) (store.Answer, error) {
		r := tx.Head().Revision
		name, entries := "odd", []engine.Entry{weighIn(1, 50)}
		if r%2 == 0 {
			name, entries = "even", []engine.Entry{weighIn(1, 90), weighIn(2, 90)}
		}
		if err := tx.PutEntries(entries); err != nil {
			return nil, err
		}
		if r%2 == 1 && r > 2 {
			if err := tx.DeleteEntry(weighIn(2, 0).ID()); err != nil {
				return nil, err
			}
		}
		return noAnswer, errors.Join(
			tx.PutTrainee(store.Trainee{DisplayName: name}), tx.PutUpload(store.Upload{ID: "u", NextSeq: r}))
	}
	inStep := func(h store.Head, name string, kg float64, days int, upload int64) error {
		want := [...]any{"even", 90.0, 2}
		if h.Revision%2 == 1 {
			want = [...]any{"odd", 50.0, 1}
		}
		if got := [...]any{name, kg, days}; got != want || upload != h.Revision {
			return fmt.Errorf("at revision %d: %v, upload at %d", h.Revision, got, upload)
		}
		return nil
	}
	bySnapshot := func() error {
		snap, err := s.Snapshot(t.Context(), ada, 1)
		if err != nil || snap.Head.Revision == 1 {
			return err
		}
		return inStep(snap.Head, snap.Trainee.DisplayName, snap.Window.Days[0].WeightKg.V, len(snap.Window.Days), snap.Head.Revision)
	}
	byView := func() error {
		return s.View(t.Context(), ada, func(v store.View) error {
			if v.Head().Revision == 1 {
				return nil
			}
			entries, err := v.Entries(store.EntryQuery{To: 9, Limit: 9})
			if err != nil {
				return err
			}
			u, err := v.Upload("u")
			if err != nil {
				return err
			}
			trainee, err := v.Trainee()
			if err != nil {
				return err
			}
			return inStep(v.Head(), trainee.DisplayName, entries[0].Fact.(engine.WeighIn).Weight.Value, len(entries), u.NextSeq)
		})
	}
	done := make(chan struct{})
	var readers sync.WaitGroup
	for i := range 4 {
		read := []func() error{bySnapshot, byView}[i%2]
		readers.Go(func() {
			for looks := 0; ; looks++ {
				select {
				case <-done:
					if looks == 0 {
						t.Error("a reader saw nothing")
					}
					return
				default:
				}
				if err := read(); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	defer readers.Wait()
	defer close(done)
	for range 150 {
		if _, err := s.Update(t.Context(), ada, store.Once{}, write); err != nil {
			t.Fatal(err)
		}
	}
}
