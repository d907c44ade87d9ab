package sqlite

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// queued is how many writes wait.
func (s *Store) queued() int {
	s.queue.mu.Lock()
	defer s.queue.mu.Unlock()
	return len(s.queue.waiting)
}

// Writes that wait share a transaction, and each is judged by itself: an error,
// a panic or an ended context of one leaves no trace and does the others no harm.
func TestWritesThatShareATransaction(t *testing.T) {
	s, _ := newStore(t)
	hold, held := make(chan struct{}), make(chan struct{})
	var first sync.WaitGroup
	first.Go(func() {
		_, err := s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
			close(held)
			<-hold
			return noAnswer, nil
		})
		if err != nil {
			t.Error(err)
		}
	})
	<-held

	wrong := errors.New("wrong")
	outcomes := make([]error, 32)
	var rest sync.WaitGroup
	for i := range outcomes {
		rest.Go(func() {
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			defer func() {
				if p := recover(); p != nil {
					outcomes[i] = fmt.Errorf("panic: %v", p)
				}
			}()
			_, outcomes[i] = s.Update(ctx, ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
				if err := tx.PutEntries([]engine.Entry{weighIn(engine.Day(i), 70)}); err != nil {
					return nil, err
				}
				switch i % 4 {
				case 1:
					return nil, wrong
				case 2:
					panic("wrong")
				case 3:
					cancel()
				}
				return noAnswer, nil
			})
		})
	}
	for deadline := time.Now().Add(10 * time.Second); s.queued() < len(outcomes); time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%d writes wait", s.queued())
		}
	}
	// One gives up waiting: it is told at once, and is never run.
	ctx, cancel := context.WithCancel(t.Context())
	gone := make(chan error)
	go func() {
		_, err := s.Update(ctx, ada, store.Once{}, func(store.Tx) (store.Answer, error) {
			t.Error("a write that gave up was run")
			return noAnswer, nil
		})
		gone <- err
	}()
	cancel()
	if err := <-gone; !errors.Is(err, context.Canceled) {
		t.Errorf("the one that gave up: %v", err)
	}
	close(hold)
	first.Wait()
	rest.Wait()

	for i, err := range outcomes {
		switch i % 4 {
		case 0:
			if err != nil {
				t.Errorf("write %d: %v", i, err)
			}
		case 1:
			if !errors.Is(err, wrong) {
				t.Errorf("write %d: %v", i, err)
			}
		case 2:
			if err == nil || err.Error() != "panic: wrong" {
				t.Errorf("write %d: %v", i, err)
			}
		case 3:
			if !errors.Is(err, context.Canceled) {
				t.Errorf("write %d: %v", i, err)
			}
		}
	}
	var stored []int
	if err := s.View(t.Context(), ada, func(v store.View) error {
		entries, err := v.Entries(store.EntryQuery{From: 0, To: 100, Limit: 100})
		for _, e := range entries {
			stored = append(stored, int(e.Day))
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if want := "[0 4 8 12 16 20 24 28]"; fmt.Sprint(stored) != want {
		t.Errorf("stored %v, want %s", stored, want)
	}
	wantRevision(t, s, 1+1+8)
	if s.queued() != 0 || s.queue.isBusy {
		t.Error("the queue does not come to rest")
	}
	mustPut(t, s, ada, store.Once{}, nil) // and goes on
}

// What ends the whole transaction is no write's own fault: each is tried alone.
func TestASharedTransactionThatBreaks(t *testing.T) {
	s, _ := newStore(t)
	jobs := make([]*job, 3)
	ran := 0
	for i := range jobs {
		jobs[i] = &job{ctx: t.Context(), turn: make(chan struct{}, 1), f: func(c conn) error {
			ran++
			if ran == 2 { // the second in the group
				return c.control(rollback) // as a full disk does
			}
			tx := &writeTx{view: view{conn: c, scope: ada}, now: s.now()}
			return tx.bump()
		}}
		s.queue.join(jobs[i])
	}
	s.lead(jobs[0])
	for i, j := range jobs {
		if !j.isDone || j.err != nil {
			t.Errorf("write %d: %v", i, j.err)
		}
	}
	wantRevision(t, s, 1+3)
	if ran != 5 {
		t.Errorf("%d runs, want two in the group and three alone", ran)
	}
}

// One that fails before it has written costs the others nothing; one that fails later
// is undone alone.
func TestAFailureAmongWritesThatShareATransaction(t *testing.T) {
	for _, c := range []struct {
		what    string
		written bool
		runs    int
	}{{"before it writes", false, 3}, {"after it has written", true, 2 + 3}} {
		s, _ := newStore(t)
		wrong := errors.New("wrong")
		jobs := make([]*job, 3)
		ran := 0
		for i := range jobs {
			jobs[i] = &job{ctx: t.Context(), turn: make(chan struct{}, 1), f: func(in conn) error {
				ran++
				tx := &writeTx{view: view{conn: in, scope: ada}, now: s.now()}
				if i != 1 {
					return tx.bump()
				}
				if c.written {
					if err := tx.bump(); err != nil {
						return err
					}
				}
				return wrong
			}}
			s.queue.join(jobs[i])
		}
		s.lead(jobs[0])
		if jobs[0].err != nil || !errors.Is(jobs[1].err, wrong) || jobs[2].err != nil {
			t.Errorf("%s: %v, %v, %v", c.what, jobs[0].err, jobs[1].err, jobs[2].err)
		}
		wantRevision(t, s, 1+2)
		if ran != c.runs {
			t.Errorf("%s: %d runs, want %d", c.what, ran, c.runs)
		}
	}
}
