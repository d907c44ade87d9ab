package window_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// TestSource_NeverServesAnythingButThePresent: writers write, erase and create
// again, a bag loses what it holds and brings back whatever it ever held, and
// every read gives exactly what the store holds now.
func TestSource_NeverServesAnythingButThePresent(t *testing.T) {
	fixSeed(t)
	hits := 0
	rapid.Check(t, func(t *rapid.T) {
		u := newSource()
		past := map[store.Scope][]store.Snapshot{}
		incarnations := 0
		scope := rapid.SampledFrom([]store.Scope{alice, bob})
		keep := func() {
			for sc, s := range u.bag.held {
				if n := len(past[sc]); n == 0 || !cmp.Equal(past[sc][n-1], s, cmpopts.EquateEmpty()) {
					past[sc] = append(past[sc], s)
				}
			}
		}
		t.Repeat(map[string]func(*rapid.T){
			"write": func(t *rapid.T) {
				sc := scope.Draw(t, "scope")
				l, ok := u.store.logs[sc]
				if !ok {
					t.Skip("erased")
				}
				l.head.Revision++
				l.days[engine.Day(rapid.IntRange(-3, 12).Draw(t, "day"))] = float64(l.head.Revision) // every state differs
			},
			"erase and create again": func(t *rapid.T) {
				sc := scope.Draw(t, "scope")
				if _, ok := u.store.logs[sc]; ok {
					delete(u.store.logs, sc)
					return
				}
				incarnations++ // the revision starts again, the incarnation never does
				u.store.logs[sc] = &log{head: head(fmt.Sprintf("again-%d", incarnations), 1), days: map[engine.Day]float64{}}
			},
			"read": func(t *rapid.T) {
				sc, first := scope.Draw(t, "scope"), engine.Day(rapid.IntRange(-5, 14).Draw(t, "first"))
				got, origin, err := u.Snapshot(t.Context(), sc, first)
				l, ok := u.store.logs[sc]
				if !ok {
					if err == nil {
						t.Fatalf("an erased trainee is served: %v", got)
					}
					return
				}
				if err != nil {
					t.Fatal(err)
				}
				if want := l.snapshot(sc, first); !cmp.Equal(got, want, cmpopts.EquateEmpty()) {
					t.Fatalf("served from %v:\n%s", origin, cmp.Diff(want, got, cmpopts.EquateEmpty()))
				}
				if origin == window.FromBag {
					hits++
				}
				keep()
			},
			"the bag forgets": func(t *rapid.T) { delete(u.bag.held, scope.Draw(t, "scope")) },
			"the bag brings back": func(t *rapid.T) {
				sc := scope.Draw(t, "scope")
				if len(past[sc]) == 0 {
					t.Skip("it never held any")
				}
				u.bag.held[sc] = past[sc][rapid.IntRange(0, len(past[sc])-1).Draw(t, "which")]
			},
			"": func(t *rapid.T) { // what is shared is never written to
				for sc, held := range past {
					for _, s := range held {
						if l := u.store.logs[sc]; l != nil && s.Head == l.head && !slices.Equal(s.Window.Days, l.snapshot(sc, s.Window.First).Window.Days) {
							t.Fatalf("a held window was changed: %v", s)
						}
					}
				}
			},
		})
	})
	if hits == 0 {
		t.Error("the bag never served: the test proves nothing")
	}
	t.Logf("%d reads came from the bag", hits)
}
