package window

import (
	"strings"
	"testing"

	"example.com/steelyard/service/store"
)

func newAnswers(t *testing.T, maxBytes uint64) *Answers[string] {
	t.Helper()
	a, err := NewAnswers(maxBytes, func(s string) uint32 { return uint32(len(s)) })
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func TestAnswers_OnlyUnderAnEqualLabel(t *testing.T) {
	a := newAnswers(t, 1000)
	sc := store.Scope{Tenant: "a", Trainee: "t"}
	label := Label{Head: store.Head{Incarnation: "aa", Revision: 5}, Plan: "p", AsOf: 100}
	if got, ok := a.Get(sc, label); ok {
		t.Errorf("an empty one gives %q", got)
	}
	a.Put(sc, label, "answer")
	if got, ok := a.Get(sc, label); !ok || got != "answer" {
		t.Errorf("%q, %v", got, ok)
	}
	for name, change := range map[string]func(*Label){
		"an earlier revision": func(l *Label) { l.Head.Revision-- },
		"a later revision":    func(l *Label) { l.Head.Revision++ },
		"another incarnation": func(l *Label) { l.Head.Incarnation = "bb" },
		"another plan":        func(l *Label) { l.Plan = "q" },
		"another day":         func(l *Label) { l.AsOf++ },
	} {
		other := label
		change(&other)
		if got, ok := a.Get(sc, other); ok {
			t.Errorf("%s gets %q", name, got)
		}
	}
	for _, other := range []store.Scope{{Tenant: "b", Trainee: "t"}, {Tenant: "a", Trainee: "u"}} {
		if got, ok := a.Get(other, label); ok {
			t.Errorf("%v gets %q", other, got)
		}
	}
	a.Forget(sc)
	if got, ok := a.Get(sc, label); ok {
		t.Errorf("still holds %q", got)
	}
}

func TestAnswers_AreBoundedInBytes(t *testing.T) {
	a := newAnswers(t, 1000)
	scope := func(i int) store.Scope { return store.Scope{Trainee: string(rune('a' + i))} }
	for i := range 26 {
		a.Put(scope(i), Label{}, strings.Repeat("x", 99))
	}
	a.cache.CleanUp()
	held := 0
	for i := range 26 {
		if s, ok := a.Get(scope(i), Label{}); ok {
			held += len(s)
		}
	}
	if held > 1000 || held == 0 {
		t.Errorf("holds %d bytes of 1000", held)
	}
}
