package window

import (
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

func snapshotOf(days int) store.Snapshot {
	return store.Snapshot{Head: store.Head{Incarnation: "aa", Revision: int64(days)}, Window: engine.Window{Days: make([]engine.WindowDay, days)}}
}

func TestLocal_GivesBackWhatItHolds(t *testing.T) {
	l, err := NewLocal(1000)
	if err != nil {
		t.Fatal(err)
	}
	a, b := store.Scope{Tenant: "a", Trainee: "t"}, store.Scope{Tenant: "b", Trainee: "t"}
	if s, ok := l.Get(t.Context(), a); ok {
		t.Errorf("an empty bag gives %v", s)
	}
	l.Put(t.Context(), a, snapshotOf(3))
	if s, ok := l.Get(t.Context(), a); !ok || s.Head.Revision != 3 || len(s.Window.Days) != 3 {
		t.Errorf("%v, %v", s, ok)
	}
	if s, ok := l.Get(t.Context(), b); ok {
		t.Errorf("another tenant gets %v", s)
	}
	l.Put(t.Context(), a, snapshotOf(4))
	if s, ok := l.Get(t.Context(), a); !ok || s.Head.Revision != 4 {
		t.Errorf("after another: %v, %v", s, ok)
	}
}

func TestLocal_IsBoundedInDays(t *testing.T) {
	l, err := NewLocal(1000)
	if err != nil {
		t.Fatal(err)
	}
	scope := func(i int) store.Scope { return store.Scope{Tenant: "a", Trainee: string(rune('a' + i))} }
	for i := range 26 {
		l.Put(t.Context(), scope(i), snapshotOf(99))
	}
	l.Put(t.Context(), store.Scope{Tenant: "b"}, snapshotOf(5000)) // more than the bag may hold at all
	l.cache.CleanUp()
	held := 0
	for i := range 26 {
		if s, ok := l.Get(t.Context(), scope(i)); ok {
			held += len(s.Window.Days)
		}
	}
	if _, ok := l.Get(t.Context(), store.Scope{Tenant: "b"}); ok || held > 1000 || held == 0 {
		t.Errorf("holds %d days of 1000, the one that is too large: %v", held, ok)
	}
}

func TestLocal_Forgets(t *testing.T) {
	l, err := NewLocal(1000)
	if err != nil {
		t.Fatal(err)
	}
	a, b := store.Scope{Tenant: "a", Trainee: "t"}, store.Scope{Tenant: "a", Trainee: "u"}
	l.Put(t.Context(), a, snapshotOf(3))
	l.Put(t.Context(), b, snapshotOf(4))
	l.Forget(a)
	if s, ok := l.Get(t.Context(), a); ok {
		t.Errorf("still holds %v", s)
	}
	if _, ok := l.Get(t.Context(), b); !ok {
		t.Error("forgot another trainee too")
	}
}
