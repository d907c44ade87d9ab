package window_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// headStore answers with the revisions that it had when the statement began,
// once it is let go.
type headStore struct {
	mu         sync.Mutex
	revisions  map[store.Scope]int64
	statements [][]store.Scope
	inFlight   int
	most       int

	gate  chan struct{} // nil: answers at once
	after func([]window.HeadResult) ([]window.HeadResult, error)
}

func (s *headStore) Heads(ctx context.Context, scopes []store.Scope) ([]window.HeadResult, error) {
	s.mu.Lock()
	out := make([]window.HeadResult, len(scopes))
	for i, sc := range scopes {
		rev, ok := s.revisions[sc]
		out[i] = window.HeadResult{Head: store.Head{Incarnation: sc.Trainee, Revision: rev}, Found: ok}
	}
	s.statements = append(s.statements, slices.Clone(scopes))
	s.inFlight++
	s.most = max(s.most, s.inFlight)
	s.mu.Unlock()
	defer func() {
		s.mu.Lock()
		s.inFlight--
		s.mu.Unlock()
	}()
	if s.gate != nil {
		select {
		case <-s.gate:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	if s.after != nil {
		return s.after(out)
	}
	return out, nil
}

func (s *headStore) write(sc store.Scope) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.revisions[sc]++
}

func trainee(i int) store.Scope { return store.Scope{Tenant: "gym", Trainee: strconv.Itoa(i)} }

func heads(n int) *headStore {
	s := &headStore{revisions: map[store.Scope]int64{}}
	for i := range n {
		s.revisions[trainee(i)] = int64(i) + 1
	}
	return s
}

type headAnswer struct {
	store.Head
	err error
}

// asking asks in a goroutine of its own.
func asking(ctx context.Context, b *window.HeadBatcher, sc store.Scope) <-chan headAnswer {
	out := make(chan headAnswer, 1)
	go func() {
		h, err := b.Head(ctx, sc)
		out <- headAnswer{h, err}
	}()
	return out
}

func TestHeadBatcher_IdleAsksAtOnce(t *testing.T) {
	s := heads(2)
	b := window.NewHeadBatcher(s)
	for range 3 {
		if h, err := b.Head(t.Context(), trainee(1)); err != nil || h != (store.Head{Incarnation: "1", Revision: 2}) {
			t.Fatalf("%v, %v", h, err)
		}
	}
	if len(s.statements) != 3 {
		t.Errorf("%d statements", len(s.statements))
	}
	if _, err := b.Head(t.Context(), trainee(9)); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("no such trainee: %v", err)
	}
}

// TestHeadBatcher_NobodyJoinsAStatementInFlight is the rule that the protocol
// rests on: the statement in flight has read revision 1, a write is acknowledged,
// and a read that starts afterwards must see it.
func TestHeadBatcher_NobodyJoinsAStatementInFlight(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := heads(1)
		s.gate = make(chan struct{})
		b := window.NewHeadBatcher(s)
		before := asking(t.Context(), b, trainee(0))
		synctest.Wait() // it is in flight and has read
		s.write(trainee(0))
		after := asking(t.Context(), b, trainee(0))
		synctest.Wait()
		close(s.gate)
		if a := <-before; a.err != nil || a.Revision != 1 {
			t.Errorf("the read before the write: %v", a)
		}
		if a := <-after; a.err != nil || a.Revision != 2 {
			t.Errorf("the read after the write sees revision %d: %v", a.Revision, a.err)
		}
	})
}

func TestHeadBatcher_GathersWhileOneIsInFlight(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := heads(3)
		s.gate = make(chan struct{})
		b := window.NewHeadBatcher(s)
		first := asking(t.Context(), b, trainee(0))
		synctest.Wait()
		var rest []<-chan headAnswer
		for i := range 30 {
			rest = append(rest, asking(t.Context(), b, trainee(i%3)))
		}
		synctest.Wait()
		close(s.gate)
		<-first
		for i, c := range rest {
			if a := <-c; a.err != nil || a.Head != (store.Head{Incarnation: strconv.Itoa(i % 3), Revision: int64(i%3) + 1}) {
				t.Errorf("caller %d: %v", i, a)
			}
		}
		if len(s.statements) != 2 || len(s.statements[1]) != 3 {
			t.Errorf("statements of %v", s.statements)
		}
	})
}

func TestHeadBatcher_IsBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := heads(1000)
		s.gate = make(chan struct{})
		b := window.NewHeadBatcher(s)
		var all []<-chan headAnswer
		for i := range 1000 {
			all = append(all, asking(t.Context(), b, trainee(i)))
		}
		synctest.Wait()
		close(s.gate)
		for i, c := range all {
			if a := <-c; a.err != nil || a.Incarnation == "" || a.Revision < 1 {
				t.Fatalf("caller %d: %v", i, a)
			}
		}
		var sizes []int
		total := 0
		for _, st := range s.statements {
			sizes = append(sizes, len(st))
			total += len(st)
		}
		if s.most != 2 || total != 1000 || slices.Max(sizes) != 256 || len(sizes) != 5 {
			t.Errorf("statements of %v scopes, %d at once", sizes, s.most)
		}
	})
}

func TestHeadBatcher_ACallerThatLeavesHarmsNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := heads(2)
		s.gate = make(chan struct{})
		b := window.NewHeadBatcher(s)
		ctx, cancel := context.WithCancel(t.Context())
		leaver := asking(ctx, b, trainee(0))
		synctest.Wait()
		stayer := asking(t.Context(), b, trainee(1))
		leaver2 := asking(ctx, b, trainee(1))
		synctest.Wait()
		cancel()
		for _, c := range []<-chan headAnswer{leaver, leaver2} {
			if a := <-c; !errors.Is(a.err, context.Canceled) {
				t.Errorf("%v", a)
			}
		}
		close(s.gate)
		if a := <-stayer; a.err != nil || a.Revision != 2 {
			t.Errorf("%v", a)
		}
		n := len(s.statements)
		if a := <-asking(ctx, b, trainee(0)); !errors.Is(a.err, context.Canceled) || len(s.statements) != n {
			t.Errorf("a call that has ended before it began: %v", a)
		}
	})
}

func TestHeadBatcher_Failures(t *testing.T) {
	boom := errors.New("boom")
	for name, after := range map[string]func([]window.HeadResult) ([]window.HeadResult, error){
		"error":   func([]window.HeadResult) ([]window.HeadResult, error) { return nil, boom },
		"too few": func(r []window.HeadResult) ([]window.HeadResult, error) { return r[1:], nil },
		"panic":   func([]window.HeadResult) ([]window.HeadResult, error) { panic("a bug") },
	} {
		s := heads(1)
		s.after = after
		b := window.NewHeadBatcher(s)
		h, err := b.Head(t.Context(), trainee(0))
		if err == nil || h != (store.Head{}) || (name == "error") != errors.Is(err, boom) {
			t.Errorf("%s: %v, %v", name, h, err)
		}
		s.after = nil
		if _, err := b.Head(t.Context(), trainee(0)); err != nil {
			t.Errorf("after %s: %v", name, err)
		}
	}
}

// TestHeadBatcher_AStatementIsBoundedInTime, and its end is no caller's deadline.
func TestHeadBatcher_AStatementIsBoundedInTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := heads(1)
		s.gate = make(chan struct{}) // never opened
		start := time.Now()
		_, err := window.NewHeadBatcher(s).Head(t.Context(), trainee(0))
		if !errors.Is(err, store.ErrUnavailable) || errors.Is(err, context.DeadlineExceeded) || time.Since(start) != 5*time.Second {
			t.Errorf("after %s: %v", time.Since(start), err)
		}
	})
}

// TestHeadBatcher_AnyInterleaving: what a read returns is never older than what
// was written before it began.
func TestHeadBatcher_AnyInterleaving(t *testing.T) {
	s := heads(4)
	b := window.NewHeadBatcher(s)
	var acked [4]atomic.Int64
	var wg sync.WaitGroup
	for i := range 4 {
		acked[i].Store(int64(i) + 1)
		wg.Go(func() {
			for range 2000 {
				s.write(trainee(i))
				acked[i].Add(1)
			}
		})
	}
	failures := make(chan error, 12)
	for r := range 12 {
		wg.Go(func() {
			for n := range 2000 {
				i := (r + n) % 4
				floor := acked[i].Load()
				if h, err := b.Head(t.Context(), trainee(i)); err != nil || h.Revision < floor || h.Incarnation != strconv.Itoa(i) {
					failures <- fmt.Errorf("trainee %d after revision %d: %v, %w", i, floor, h, err)
					return
				}
			}
		})
	}
	wg.Wait()
	close(failures)
	for err := range failures {
		t.Error(err)
	}
	if n := len(s.statements); n >= 24000 {
		t.Errorf("%d statements for 24000 reads: nothing was shared", n)
	} else {
		t.Logf("%d statements for 24000 reads", n)
	}
}
