package window_test

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// under is a source under test with everything around it.
type under struct {
	*window.Source
	store  *snapshots
	bag    *bag
	served served
}

func newSource() *under {
	u := &under{
		store: &snapshots{logs: map[store.Scope]*log{
			alice: {head: head("aa", 5), days: map[engine.Day]float64{10: 80, 11: 80.5, 14: 79.9}},
			bob:   {head: head("aa", 5), days: map[engine.Day]float64{10: 60}},
		}},
		bag: &bag{held: map[store.Scope]store.Snapshot{}}, served: served{},
	}
	u.Source = window.NewSource(u.store, u.bag, u.served.count)
	return u
}

// mustServe reads and checks that the answer is what the store would give.
func (u *under) mustServe(t *testing.T, sc store.Scope, first engine.Day, from window.Origin) {
	t.Helper()
	before := u.served[from]
	got, origin, err := u.Snapshot(t.Context(), sc, first)
	if err != nil {
		t.Fatal(err)
	}
	if origin != from || u.served[from] != before+1 {
		t.Errorf("from %v (counted %v), want %v", origin, u.served, from)
	}
	if want := u.store.logs[sc].snapshot(sc, first); !cmp.Equal(got, want, cmpopts.EquateEmpty()) {
		t.Errorf("window from %s:\n%s", first, cmp.Diff(want, got, cmpopts.EquateEmpty()))
	}
}

func TestSnapshot_MissThenHit(t *testing.T) {
	u := newSource()
	u.mustServe(t, alice, 8, window.FromStore)
	u.mustServe(t, alice, 8, window.FromBag)
	u.mustServe(t, alice, 8, window.FromBag)
	if u.store.loads != 1 || u.store.heads != 3 || u.bag.puts != 1 {
		t.Errorf("%d loads, %d probes, %d puts, want 1, 3, 1", u.store.loads, u.store.heads, u.bag.puts)
	}
}

func TestSnapshot_ScopesDoNotMix(t *testing.T) {
	u := newSource() // both heads are equal
	u.mustServe(t, alice, 8, window.FromStore)
	u.mustServe(t, bob, 8, window.FromStore)
	u.mustServe(t, alice, 8, window.FromBag)
}

func TestSnapshot_AnotherHeadIsNeverServedFromTheBag(t *testing.T) {
	for name, held := range map[string]store.Head{
		"older": head("aa", 4), "newer": head("aa", 6), "another incarnation": head("ab", 5), "none": {},
	} {
		t.Run(name, func(t *testing.T) {
			u := newSource()
			stale := log{head: held, days: map[engine.Day]float64{10: 1}}
			u.bag.held[alice] = stale.snapshot(alice, 8)
			u.mustServe(t, alice, 8, window.FromStore)
			u.mustServe(t, alice, 8, window.FromBag) // what was loaded took its place
		})
	}
}

func TestSnapshot_LongerBaggedWindowIsCut(t *testing.T) {
	for _, first := range []engine.Day{-400, 9, 10, 11, 12, 14, 15, 100} {
		u := newSource()
		u.mustServe(t, alice, -400, window.FromStore)
		u.mustServe(t, alice, first, window.FromBag)
		u.mustServe(t, alice, -400, window.FromBag) // the bag still holds the longer one
	}
}

func TestSnapshot_ShorterBaggedWindowIsNotEnough(t *testing.T) {
	u := newSource()
	u.mustServe(t, alice, 11, window.FromStore)
	u.mustServe(t, alice, 10, window.FromStore)
	u.mustServe(t, alice, 11, window.FromBag) // now the longer one is held
}

func TestSnapshot_EmptyLog(t *testing.T) {
	u := newSource()
	u.store.logs[alice].days = nil
	u.mustServe(t, alice, 8, window.FromStore)
	u.mustServe(t, alice, 20, window.FromBag)
}

// TestSnapshot_WriteBetweenProbeAndLoad: the loaded snapshot names its own head,
// and the next read finds it.
func TestSnapshot_WriteBetweenProbeAndLoad(t *testing.T) {
	u := newSource()
	u.store.beforeLoad = func() {
		u.store.logs[alice] = &log{head: head("aa", 6), days: map[engine.Day]float64{10: 81}}
	}
	u.mustServe(t, alice, 8, window.FromStore)
	u.store.beforeLoad = nil
	u.mustServe(t, alice, 8, window.FromBag)
}

func TestSnapshot_ErrorsPassThrough(t *testing.T) {
	boom := errors.New("boom")
	for _, c := range []struct {
		name  string
		spoil func(*under)
		want  error
	}{
		{"no such trainee", func(u *under) { delete(u.store.logs, alice) }, store.ErrNotFound},
		{"erased between probe and load", func(u *under) { u.store.beforeLoad = func() { delete(u.store.logs, alice) } }, store.ErrNotFound},
		{"no probe", func(u *under) { u.store.headErr = boom }, boom},
		{"no load", func(u *under) { u.store.loadErr = boom }, boom},
	} {
		t.Run(c.name, func(t *testing.T) {
			u := newSource()
			c.spoil(u)
			got, _, err := u.Snapshot(t.Context(), alice, 8)
			if !errors.Is(err, c.want) || !cmp.Equal(got, store.Snapshot{}) {
				t.Errorf("%v, %v", got, err)
			}
			if len(u.served) != 0 || u.bag.puts != 0 {
				t.Errorf("counted %v, %d puts", u.served, u.bag.puts)
			}
		})
	}
}

// TestSnapshot_AnErasedTraineeIsGoneWhateverTheBagHolds: also when the same id is made again.
func TestSnapshot_AnErasedTraineeIsGoneWhateverTheBagHolds(t *testing.T) {
	u := newSource()
	u.mustServe(t, alice, 8, window.FromStore)
	erased := *u.store.logs[alice]
	delete(u.store.logs, alice)
	if got, _, err := u.Snapshot(t.Context(), alice, 8); !errors.Is(err, store.ErrNotFound) || len(got.Window.Days) != 0 {
		t.Errorf("%v, %v", got, err)
	}
	u.store.logs[alice] = &log{head: head("bb", erased.head.Revision)}
	u.mustServe(t, alice, 8, window.FromStore)
}
