package window_test

import (
	"context"
	"errors"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// gated is a store of one trainee, whose loads read and then wait.
type gated struct {
	mu       sync.Mutex
	revision int64
	loads    int
	gate     chan struct{}
	panics   bool
	ends     func() // ends a load otherwise than by an answer
}

func (g *gated) now() store.Head { return store.Head{Incarnation: "aa", Revision: g.revision} }

func (g *gated) Head(context.Context, store.Scope) (store.Head, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.now(), nil
}

func (g *gated) Snapshot(ctx context.Context, sc store.Scope, first engine.Day) (store.Snapshot, error) {
	g.mu.Lock()
	g.loads++
	l := log{head: g.now(), days: map[engine.Day]float64{12: float64(g.revision)}}
	g.mu.Unlock()
	if g.panics {
		panic("a bug")
	}
	select {
	case <-g.gate:
		if g.ends != nil {
			g.ends()
		}
		return l.snapshot(sc, first), nil
	case <-ctx.Done():
		return store.Snapshot{}, ctx.Err()
	}
}

func (g *gated) write() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.revision++
}

// nothing is a bag that holds nothing.
type nothing struct{}

func (nothing) Get(context.Context, store.Scope) (store.Snapshot, bool) {
	return store.Snapshot{}, false
}
func (nothing) Put(context.Context, store.Scope, store.Snapshot) {}

func uncounted(context.Context, window.Origin) {}

type read struct {
	store.Snapshot
	err error
}

func reading(ctx context.Context, s *window.Source, sc store.Scope, first engine.Day) <-chan read {
	out := make(chan read, 1)
	go func() {
		snap, _, err := s.Snapshot(ctx, sc, first)
		out <- read{snap, err}
	}()
	return out
}

func newGated() (*gated, *window.Source) {
	g := &gated{revision: 1, gate: make(chan struct{})}
	return g, window.NewSource(g, nothing{}, uncounted)
}

func TestSource_OneLoadForAllWhoReadTheSameHead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g, s := newGated()
		var all []<-chan read
		for range 20 {
			all = append(all, reading(t.Context(), s, alice, 10))
		}
		synctest.Wait() // or they would join the longer one
		other, earlier := reading(t.Context(), s, bob, 10), reading(t.Context(), s, alice, 9)
		synctest.Wait()
		close(g.gate)
		for _, c := range all {
			if r := <-c; r.err != nil || r.Head.Revision != 1 || r.Window.First != 10 || r.Trainee.ID != alice.Trainee {
				t.Errorf("%v, %v", r.Snapshot, r.err)
			}
		}
		<-other
		if r := <-earlier; r.err != nil || r.Window.First != 9 {
			t.Errorf("a longer window: %v, %v", r.Snapshot, r.err)
		}
		if g.loads != 3 { // alice's, bob's, and alice's longer one
			t.Errorf("%d loads", g.loads)
		}
	})
}

// TestSource_NobodyJoinsALoadOfAnotherHead: the load in flight has read revision
// 1, a write is acknowledged, and a read that starts afterwards must see it.
func TestSource_NobodyJoinsALoadOfAnotherHead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g, s := newGated()
		before := reading(t.Context(), s, alice, 10)
		synctest.Wait()
		g.write()
		after := reading(t.Context(), s, alice, 10)
		synctest.Wait()
		close(g.gate)
		if r := <-before; r.err != nil || r.Head.Revision != 1 {
			t.Errorf("the read before the write: %v", r)
		}
		if r := <-after; r.err != nil || r.Head.Revision != 2 || r.Window.At(12).WeightKg.V != 2 {
			t.Errorf("the read after the write: %v, %v", r.Snapshot, r.err)
		}
	})
}

func TestSource_TheOneWhoBeganALoadMayLeave(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g, s := newGated()
		ctx, cancel := context.WithCancel(t.Context())
		leaver := reading(ctx, s, alice, 10)
		synctest.Wait()
		stayers := []<-chan read{reading(t.Context(), s, alice, 10), reading(t.Context(), s, alice, 10)}
		brief, end := context.WithTimeout(t.Context(), time.Second)
		defer end()
		hurried := reading(brief, s, alice, 10)
		synctest.Wait()
		cancel()
		if r := <-leaver; !errors.Is(r.err, context.Canceled) {
			t.Errorf("the one who left: %v", r.err)
		}
		time.Sleep(2 * time.Second)
		if r := <-hurried; !errors.Is(r.err, context.DeadlineExceeded) {
			t.Errorf("the one in a hurry: %v", r.err)
		}
		close(g.gate)
		for _, c := range stayers {
			if r := <-c; r.err != nil || r.Head.Revision != 1 {
				t.Errorf("one who stayed: %v", r.err)
			}
		}
	})
}

func TestSource_APanicOfTheStoreIsAnError(t *testing.T) {
	g, s := newGated()
	g.panics = true
	if _, _, err := s.Snapshot(t.Context(), alice, 10); err == nil {
		t.Error("no error")
	}
}

// TestSource_WhoJoinedHearsOfALoadThatEndedBadly, and the next load is a new one.
func TestSource_WhoJoinedHearsOfALoadThatEndedBadly(t *testing.T) {
	for name, ends := range map[string]func(){"panic": func() { panic("a bug") }, "exit": runtime.Goexit} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				g, s := newGated()
				g.ends = ends
				reading(t.Context(), s, alice, 10)
				synctest.Wait()
				joined := reading(t.Context(), s, alice, 10)
				synctest.Wait()
				close(g.gate)
				if r := <-joined; r.err == nil || r.Head != (store.Head{}) || g.loads != 1 {
					t.Errorf("%v, %v, %d loads", r.Snapshot, r.err, g.loads)
				}
				synctest.Wait()
				g.ends = nil
				if r := <-reading(t.Context(), s, alice, 10); r.err != nil || r.Head.Revision != 1 {
					t.Errorf("the next one: %v", r.err)
				}
			})
		})
	}
}

// batching is a store that can read many heads in one statement, and not one.
type batching struct {
	*gated
	statements atomic.Int32
}

func (*batching) Head(context.Context, store.Scope) (store.Head, error) {
	return store.Head{}, errors.New("a head was read alone")
}

func (b *batching) Heads(_ context.Context, scopes []store.Scope) ([]window.HeadResult, error) {
	b.statements.Add(1)
	out := make([]window.HeadResult, len(scopes))
	for i := range out {
		out[i] = window.HeadResult{Head: b.now(), Found: true}
	}
	return out, nil
}

func TestSource_UsesHeadsOfAStoreThatHasIt(t *testing.T) {
	b := &batching{gated: &gated{revision: 1, gate: make(chan struct{})}}
	close(b.gate)
	s := window.NewSource(b, nothing{}, uncounted)
	if _, _, err := s.Snapshot(t.Context(), alice, 10); err != nil || b.statements.Load() != 1 {
		t.Errorf("%v, %d statements", err, b.statements.Load())
	}
}

// slowBag answers when it is let go.
type slowBag struct {
	bag
	asked, gate chan struct{}
}

func (b *slowBag) Get(ctx context.Context, sc store.Scope) (store.Snapshot, bool) {
	close(b.asked)
	select {
	case <-b.gate:
	case <-ctx.Done():
	}
	return b.bag.Get(ctx, sc)
}

// headAfter gives the head only once the bag has been asked.
type headAfter struct {
	*snapshots
	asked <-chan struct{}
}

func (s headAfter) Head(ctx context.Context, sc store.Scope) (store.Head, error) {
	<-s.asked
	return s.snapshots.Head(ctx, sc)
}

func TestSource_OverlappedAsksBothAtOnce(t *testing.T) {
	for _, fails := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			u := newSource()
			b := &slowBag{bag: *u.bag, asked: make(chan struct{}), gate: make(chan struct{})}
			b.held[alice] = u.store.logs[alice].snapshot(alice, 8)
			if fails {
				u.store.headErr = errors.New("boom")
			} else {
				close(b.gate)
			}
			s := window.NewSource(headAfter{u.store, b.asked}, b, u.served.count, window.Overlapped())
			snap, origin, err := s.Snapshot(t.Context(), alice, 8) // a failing head does not wait for the bag
			if fails != (err != nil) || (!fails && (origin != window.FromBag || snap.Head.Revision != 5)) {
				t.Errorf("%v from %v, %v", snap, origin, err)
			}
			synctest.Wait()
		})
	}
}

// twoParts is a bag of which a part is in the process.
type twoParts struct {
	near bag
	far  bag
	gets int // of the far part
}

func (b *twoParts) Near(ctx context.Context, sc store.Scope) (store.Snapshot, bool) {
	return b.near.Get(ctx, sc)
}

func (b *twoParts) Get(ctx context.Context, sc store.Scope) (store.Snapshot, bool) {
	b.gets++
	return b.far.Get(ctx, sc)
}

func (b *twoParts) Put(ctx context.Context, sc store.Scope, snap store.Snapshot) {
	b.near.Put(ctx, sc, snap)
}

// TestSource_WhatIsNearIsNotAskedForElsewhere: and is served under the same rule.
func TestSource_WhatIsNearIsNotAskedForElsewhere(t *testing.T) {
	u := newSource()
	present := u.store.logs[alice].snapshot(alice, 8)
	old := present
	old.Head.Revision--
	holding := func(snap ...store.Snapshot) bag {
		b := bag{held: map[store.Scope]store.Snapshot{}}
		for _, s := range snap {
			b.held[alice] = s
		}
		return b
	}
	for _, c := range []struct {
		name      string
		near, far bag
		want      window.Origin
		gets      int
	}{
		{"near", holding(present), holding(), window.FromBag, 0},
		{"far", holding(), holding(present), window.FromBag, 1},
		{"an old one near", holding(old), holding(), window.FromStore, 0},
		{"an old one far", holding(), holding(old), window.FromStore, 1},
		{"nowhere", holding(), holding(), window.FromStore, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := &twoParts{near: c.near, far: c.far}
			s := window.NewSource(u.store, b, u.served.count, window.Overlapped())
			snap, origin, err := s.Snapshot(t.Context(), alice, 8)
			if err != nil || origin != c.want || snap.Head != present.Head || b.gets != c.gets {
				t.Errorf("%v from %v after %d gets elsewhere, %v", snap.Head, origin, b.gets, err)
			}
		})
	}
}
