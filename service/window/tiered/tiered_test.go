package tiered_test

import (
	"context"
	"testing"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window/tiered"
)

type bag struct {
	held       map[store.Scope]store.Snapshot
	gets, puts int
}

func (b *bag) Get(_ context.Context, s store.Scope) (store.Snapshot, bool) {
	b.gets++
	snap, ok := b.held[s]
	return snap, ok
}

func (b *bag) Put(_ context.Context, s store.Scope, snap store.Snapshot) {
	b.puts++
	b.held[s] = snap
}

func TestBag(t *testing.T) {
	near, far := &bag{held: map[store.Scope]store.Snapshot{}}, &bag{held: map[store.Scope]store.Snapshot{}}
	b := tiered.New(near, far)
	sc, other := store.Scope{Tenant: "a", Trainee: "t"}, store.Scope{Tenant: "b", Trainee: "t"}
	at := func(n int64) store.Snapshot { return store.Snapshot{Head: store.Head{Revision: n}} }
	check := func(what string, s store.Scope, want int64, nearGets, farGets int) {
		t.Helper()
		near.gets, far.gets = 0, 0
		got, ok := b.Get(t.Context(), s)
		if ok != (want > 0) || got.Head.Revision != want || near.gets != nearGets || far.gets != farGets {
			t.Errorf("%s: %v, %v after asking near %d and far %d times", what, got.Head, ok, near.gets, far.gets)
		}
	}
	check("nothing anywhere", sc, 0, 1, 1)
	if near.puts != 0 {
		t.Error("the near bag got nothing's snapshot")
	}
	b.Put(t.Context(), sc, at(1))
	check("near", sc, 1, 1, 0)
	if far.held[sc].Head.Revision != 1 {
		t.Error("the far bag did not get it")
	}
	delete(near.held, sc)
	check("far only", sc, 1, 1, 1)
	check("near again", sc, 1, 1, 0)
	check("another scope", other, 0, 1, 1)
	if far.puts != 1 {
		t.Errorf("%d puts into the far bag: what it gave went back into it", far.puts)
	}
}

// meddled is a bag that something happens to while it is asked.
type meddled struct {
	*bag
	meanwhile func()
}

func (b meddled) Get(ctx context.Context, s store.Scope) (store.Snapshot, bool) {
	snap, ok := b.bag.Get(ctx, s)
	b.meanwhile()
	return snap, ok
}

// What is on its way from the far bag when a trainee is forgotten is not near
// afterwards.
func TestForget(t *testing.T) {
	sc := store.Scope{Tenant: "a", Trainee: "t"}
	near, far := &bag{held: map[store.Scope]store.Snapshot{}}, &bag{held: map[store.Scope]store.Snapshot{sc: {Head: store.Head{Revision: 5}}}}
	var b *tiered.Bag
	forgets := true
	b = tiered.New(near, meddled{far, func() {
		if forgets {
			b.Forget(func() { delete(near.held, sc) })
		}
	}})
	if snap, ok := b.Get(t.Context(), sc); !ok || snap.Head.Revision != 5 {
		t.Errorf("%v, %v", snap.Head, ok)
	}
	if _, ok := near.held[sc]; ok {
		t.Error("the forgotten trainee is near")
	}
	forgets = false
	b.Get(t.Context(), sc)
	if _, ok := near.held[sc]; !ok {
		t.Error("nothing comes near any more")
	}
}
