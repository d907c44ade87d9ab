package window_test

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// mustAtLeast reads and checks the revision, the origin and how often the store
// was asked for a head.
func (u *under) mustAtLeast(t *testing.T, sc store.Scope, token store.Head, revision int64, from window.Origin, heads int) {
	t.Helper()
	before, counted := u.store.heads, u.served[from]
	got, origin, err := u.AtLeast(t.Context(), sc, 8, token)
	if err != nil {
		t.Fatal(err)
	}
	if got.Head.Revision != revision || origin != from || u.served[from] != counted+1 || u.store.heads-before != heads {
		t.Errorf("revision %d from %v (counted %v) after %d heads, want %d from %v after %d",
			got.Head.Revision, origin, u.served, u.store.heads-before, revision, from, heads)
	}
}

func TestAtLeast_ASeenHeadIsNotAskedForAgain(t *testing.T) {
	u := newSource()
	u.mustAtLeast(t, alice, head("aa", 5), 5, window.FromStore, 1)
	u.mustAtLeast(t, alice, head("aa", 5), 5, window.FromBag, 0)
	u.mustAtLeast(t, alice, head("aa", 4), 5, window.FromBag, 0) // later than the token
	u.store.logs[alice].head.Revision = 6
	u.mustAtLeast(t, alice, head("aa", 5), 5, window.FromBag, 0) // a write elsewhere is not seen
	u.mustServe(t, alice, 8, window.FromStore)                   // but by a plain read
	u.mustAtLeast(t, alice, head("aa", 5), 6, window.FromBag, 0)
}

// TestAtLeast_OtherwiseTheStoreIsAsked: whatever the token cannot settle.
func TestAtLeast_OtherwiseTheStoreIsAsked(t *testing.T) {
	for name, token := range map[string]store.Head{
		"ahead of what was seen":     head("aa", 6),
		"of another incarnation":     head("bb", 5),
		"of a lower counter of such": head("bb", 1),
	} {
		u := newSource()
		u.mustServe(t, alice, 8, window.FromStore)
		before := u.store.heads
		got, origin, err := u.AtLeast(t.Context(), alice, 8, token)
		if err != nil || got.Head != head("aa", 5) || origin != window.FromBag || u.store.heads != before+1 {
			t.Errorf("%s: %v from %v after %d heads, %v", name, got.Head, origin, u.store.heads-before, err)
		}
	}
	u := newSource()
	u.mustServe(t, alice, 8, window.FromStore)
	u.mustAtLeast(t, bob, head("aa", 5), 5, window.FromStore, 1) // seen of another trainee
	u.bag.held[alice] = u.store.logs[alice].snapshot(alice, 8)
	u.store.logs[alice].head.Revision = 6
	u.mustServe(t, alice, 8, window.FromStore)
	old := u.store.logs[alice].snapshot(alice, 8)
	old.Head.Revision = 5
	u.bag.held[alice] = old // brought back: reaches the token, and is not what was seen
	u.mustAtLeast(t, alice, head("aa", 5), 6, window.FromStore, 1)
	delete(u.bag.held, alice)
	u.mustAtLeast(t, alice, head("aa", 5), 6, window.FromStore, 1)
	if got, _, err := u.AtLeast(t.Context(), alice, 3, head("aa", 5)); err != nil || got.Window.First != 3 {
		t.Errorf("a window that begins later than asked: %v, %v", got.Window.First, err)
	}
}

// TestAtLeast_AHeadIsForgottenInTime: what nobody has confirmed for SeenFor is
// asked for again, so an erasure that another replica did is heard of by then.
func TestAtLeast_AHeadIsForgottenInTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		u := newSource()
		token := head("aa", 5)
		u.mustAtLeast(t, alice, token, 5, window.FromStore, 1)
		time.Sleep(window.SeenFor - time.Nanosecond)
		u.mustAtLeast(t, alice, token, 5, window.FromBag, 0) // which renews nothing
		time.Sleep(time.Nanosecond)
		u.mustAtLeast(t, alice, token, 5, window.FromBag, 1)
		u.mustAtLeast(t, alice, token, 5, window.FromBag, 0)
		delete(u.store.logs, alice)
		time.Sleep(window.SeenFor)
		if got, _, err := u.AtLeast(t.Context(), alice, 8, token); !errors.Is(err, store.ErrNotFound) {
			t.Errorf("erased a minute ago: %v, %v", got.Head, err)
		}
	})
}

// TestAtLeast_TheTimeCountsFromBeforeTheRead: a slow store makes nothing younger.
func TestAtLeast_TheTimeCountsFromBeforeTheRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		u := newSource()
		u.store.beforeLoad = func() { time.Sleep(2 * time.Second) }
		u.mustServe(t, alice, 8, window.FromStore)
		time.Sleep(window.SeenFor - 2*time.Second)
		u.mustAtLeast(t, alice, head("aa", 5), 5, window.FromBag, 1)
	})
}

// TestAtLeast_AnErasureHereIsHeardOfAtOnce, though the bag did not hear of it.
func TestAtLeast_AnErasureHereIsHeardOfAtOnce(t *testing.T) {
	for name, erase := range map[string]func(*under){
		"forgotten":            func(u *under) { u.Forget(alice) },
		"a read has missed it": func(u *under) { _, _, _ = u.Snapshot(t.Context(), alice, 8) },
	} {
		u := newSource()
		u.mustServe(t, alice, 8, window.FromStore)
		delete(u.store.logs, alice)
		erase(u)
		if got, _, err := u.AtLeast(t.Context(), alice, 8, head("aa", 5)); !errors.Is(err, store.ErrNotFound) {
			t.Errorf("%s: %v, %v", name, got.Head, err)
		}
		u.store.logs[alice] = &log{head: head("cc", 1), days: map[engine.Day]float64{9: 70}}
		u.mustAtLeast(t, alice, head("aa", 5), 1, window.FromStore, 1)
	}
}
