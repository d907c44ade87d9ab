package phases

import (
	"context"
	"errors"
	"testing"

	"example.com/steelyard/service/call"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// moving is a store in which a write comes after each of the first views.
type moving struct {
	store.Store
	writes int // still to come
	head   store.Head
	views  int
}

func (m *moving) View(_ context.Context, _ store.Scope, f func(store.View) error) error {
	m.views++
	err := f(view{head: m.head})
	if m.writes > 0 {
		m.writes--
		m.head.Revision++
	}
	return err
}

type view struct {
	store.View
	head store.Head
}

func (v view) Head() store.Head { return v.head }

// TestAtOneHead_BeginsAgainAfterAWrite: what is returned was looked at and
// loaded at the same head, or is not returned.
func TestAtOneHead_BeginsAgainAfterAWrite(t *testing.T) {
	for writes := range tries + 2 {
		m := &moving{writes: writes, head: store.Head{Incarnation: "i", Revision: 1}}
		s := &Server{Store: m}
		var looked store.Head
		p, err := s.atOneHead(t.Context(), store.Scope{},
			func(v store.View) error { looked = v.Head(); return nil },
			func() (p call.Present, err error) { p.Snapshot.Head = m.head; return p, nil })
		var conflict *fault.Conflict
		switch {
		case writes < tries:
			if err != nil || p.Snapshot.Head != looked || p.Snapshot.Head != m.head || m.views != writes+1 {
				t.Errorf("%d writes: %v, looked at %v, loaded %v, %d views", writes, err, looked, p.Snapshot.Head, m.views)
			}
		case !errors.As(err, &conflict) || m.views != tries:
			t.Errorf("%d writes: %v, %d views", writes, err, m.views)
		}
	}
}

// TestAtOneHead_StopsAtAnError: neither half is tried again after one.
func TestAtOneHead_StopsAtAnError(t *testing.T) {
	boom := errors.New("boom")
	never := func() (call.Present, error) { t.Error("loaded after an error"); return call.Present{}, nil }
	m := &moving{}
	if _, err := (&Server{Store: m}).atOneHead(t.Context(), store.Scope{}, func(store.View) error { return boom }, never); !errors.Is(err, boom) || m.views != 1 {
		t.Errorf("%v after %d views", err, m.views)
	}
	m = &moving{}
	load := func() (call.Present, error) { return call.Present{}, boom }
	if _, err := (&Server{Store: m}).atOneHead(t.Context(), store.Scope{}, func(store.View) error { return nil }, load); !errors.Is(err, boom) || m.views != 1 {
		t.Errorf("%v after %d views", err, m.views)
	}
}
