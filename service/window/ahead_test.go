package window_test

import (
	"bytes"
	"context"
	"log/slog"
	"runtime"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// gatedNear is a source over a store whose loads wait, with a bag in the process
// that has alice's window as of a revision.
func gatedNear(t *testing.T, held int64, options ...window.Option) (*gated, *window.Source, *atomic.Int64) {
	t.Helper()
	bag, err := window.NewLocal(1000)
	if err != nil {
		t.Fatal(err)
	}
	if held > 0 {
		old := log{head: head("aa", held), days: map[engine.Day]float64{12: float64(held)}}
		bag.Put(t.Context(), alice, old.snapshot(alice, 10))
	}
	begun := &atomic.Int64{}
	g := &gated{revision: held, gate: make(chan struct{})}
	options = append(options, window.CountAhead(func(context.Context) { begun.Add(1) }))
	return g, window.NewSource(g, bag, uncounted, options...), begun
}

var silent = slog.New(slog.DiscardHandler)

// writes raises the revision and tells of it.
func (g *gated) writes(s *window.Source) {
	g.write()
	s.Written(alice, g.now())
}

func TestWritten_TheNextReaderFindsWhatWasLoadedAhead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g, s, begun := gatedNear(t, 5)
		g.writes(s)
		synctest.Wait()
		if g.loads != 1 || begun.Load() != 1 {
			t.Fatalf("%d loads, %d counted, want 1 before anybody asks", g.loads, begun.Load())
		}
		joined := reading(t.Context(), s, alice, 10)
		synctest.Wait()
		close(g.gate)
		if r := <-joined; r.err != nil || r.Head.Revision != 6 || r.Window.At(12).WeightKg.V != 6 {
			t.Errorf("who came meanwhile: %v, %v", r.Snapshot, r.err)
		}
		synctest.Wait()
		snap, origin, err := s.Snapshot(t.Context(), alice, 10)
		if err != nil || origin != window.FromBag || snap.Head.Revision != 6 || g.loads != 1 {
			t.Errorf("who came later: %v from %v, %v, %d loads", snap.Head, origin, err, g.loads)
		}
	})
}

// A load ahead of one write is no use to who has to see the next one.
func TestWritten_NobodyJoinsALoadAheadOfAnotherWrite(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g, s, _ := gatedNear(t, 5)
		g.writes(s)
		synctest.Wait()
		g.write()
		after := reading(t.Context(), s, alice, 10)
		synctest.Wait()
		close(g.gate)
		if r := <-after; r.err != nil || r.Head.Revision != 7 || r.Window.At(12).WeightKg.V != 7 {
			t.Errorf("%v, %v", r.Snapshot, r.err)
		}
	})
}

func TestWritten_OnlyWhereTheWindowWasInUseUntilThen(t *testing.T) {
	for name, c := range map[string]struct {
		held int64
		made store.Head
	}{
		"never asked for":          {0, head("aa", 6)},
		"a write since":            {4, head("aa", 6)},
		"is newer already":         {6, head("aa", 6)},
		"of another one of the id": {5, head("bb", 6)},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				g, s, begun := gatedNear(t, c.held)
				close(g.gate)
				s.Written(alice, c.made)
				s.Written(bob, head("aa", 6))
				synctest.Wait()
				if g.loads != 0 || begun.Load() != 0 {
					t.Errorf("%d loads", g.loads)
				}
			})
		})
	}
}

// What was loaded ahead and not asked for is no reason to load ahead once more.
func TestWritten_NotAgainBeforeSomebodyAsks(t *testing.T) {
	for name, ask := range map[string]func(context.Context, *window.Source, store.Head) error{
		"any": func(ctx context.Context, s *window.Source, _ store.Head) error {
			_, _, err := s.Snapshot(ctx, alice, 10)
			return err
		},
		"with a token": func(ctx context.Context, s *window.Source, h store.Head) error {
			_, _, err := s.AtLeast(ctx, alice, 10, h)
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				g, s, begun := gatedNear(t, 5)
				close(g.gate)
				writes := func(want int64) {
					t.Helper()
					g.writes(s)
					synctest.Wait()
					if n := begun.Load(); n != want {
						t.Fatalf("%d loads ahead at revision %d, want %d", n, g.revision, want)
					}
				}
				writes(1)
				writes(1)
				writes(1)
				for n := range int64(2) { // asked each time: the store, or what was loaded ahead
					if err := ask(t.Context(), s, g.now()); err != nil {
						t.Fatal(err)
					}
					writes(2 + n)
				}
				writes(3)
			})
		})
	}
}

// A load ahead that comes late takes the place of nothing that is newer.
func TestWritten_WhoAsksMayBeQuicker(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g, s, _ := gatedNear(t, 5)
		late := g.gate
		g.writes(s)
		synctest.Wait()
		g.gate = make(chan struct{})
		close(g.gate)
		g.write()
		if snap, _, err := s.Snapshot(t.Context(), alice, 10); err != nil || snap.Head.Revision != 7 {
			t.Fatalf("%v, %v", snap.Head, err)
		}
		close(late)
		synctest.Wait()
		if snap, origin, err := s.Snapshot(t.Context(), alice, 10); err != nil || origin != window.FromBag || snap.Head.Revision != 7 {
			t.Errorf("%v from %v, %v", snap.Head, origin, err)
		}
	})
}

// A bag that is over a network is not asked on the way of a write.
func TestWritten_AsksNoBagThatIsFar(t *testing.T) {
	u := newSource()
	u.mustServe(t, alice, 8, window.FromStore)
	u.store.logs[alice].head.Revision++
	u.Written(alice, u.store.logs[alice].head)
	if err := u.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	if u.store.loads != 1 {
		t.Errorf("%d loads", u.store.loads)
	}
}

// However many are written to at once, few are loaded ahead, and no write waits.
func TestWritten_IsBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g, s, begun := gatedNear(t, 0)
		close(g.gate)
		several := func(n int) (out []store.Scope) {
			for i := range n {
				out = append(out, store.Scope{Tenant: "gym-1", Trainee: "crowd-" + strconv.Itoa(i)})
			}
			return out
		}(100)
		g.revision = 5
		for _, sc := range several {
			if _, _, err := s.Snapshot(t.Context(), sc, 10); err != nil {
				t.Fatal(err)
			}
		}
		g.gate = make(chan struct{})
		g.revision = 6
		for _, sc := range several {
			s.Written(sc, g.now())
		}
		synctest.Wait()
		if n := begun.Load(); n == 0 || n > 10 {
			t.Errorf("%d loads at once", n)
		}
		close(g.gate)
		synctest.Wait()
		before := begun.Load()
		s.Written(several[99], g.now()) // there is room again
		synctest.Wait()
		if n := begun.Load(); n != before+1 {
			t.Errorf("%d loads after the first came back, %d before", n, before)
		}
	})
}

func TestWritten_ALoadThatNobodyWaitsForEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g, s, _ := gatedNear(t, 5)
		g.writes(s) // and the gate stays shut
		joined := reading(t.Context(), s, alice, 10)
		time.Sleep(10 * time.Second)
		synctest.Wait()
		if g.loads != 2 { // whoever had joined it loads by itself
			t.Errorf("%d loads", g.loads)
		}
		close(g.gate)
		if r := <-joined; r.err != nil || r.Head.Revision != 6 {
			t.Errorf("%v, %v", r.Snapshot, r.err)
		}
	})
}

func TestClose_EndsWhatIsLoadedAhead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g, s, begun := gatedNear(t, 5)
		g.writes(s) // and the gate stays shut
		synctest.Wait()
		began := time.Now()
		if err := s.Close(t.Context()); err != nil || time.Since(began) > 0 {
			t.Fatalf("%v after %s", err, time.Since(began))
		}
		s.Written(alice, head("aa", 6))
		synctest.Wait()
		if n := begun.Load(); n != 1 {
			t.Errorf("%d loads, one of them after the end", n)
		}
		close(g.gate)
		if snap, _, err := s.Snapshot(t.Context(), alice, 10); err != nil || snap.Head.Revision != 6 {
			t.Errorf("a read after the end: %v, %v", snap.Head, err)
		}
	})
}

func TestClose_DoesNotWaitForEver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		bag, err := window.NewLocal(1000)
		if err != nil {
			t.Fatal(err)
		}
		st := deaf{make(chan struct{})}
		s := window.NewSource(st, bag, uncounted)
		old := log{head: head("aa", 5)}
		bag.Put(t.Context(), alice, old.snapshot(alice, 10))
		s.Written(alice, head("aa", 6))
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if err := s.Close(ctx); err == nil {
			t.Error("it says that all has ended")
		}
		close(st.gate)
	})
}

// deaf is a store that does not hear of the end of a context.
type deaf struct{ gate chan struct{} }

func (deaf) Head(context.Context, store.Scope) (store.Head, error) { return head("aa", 6), nil }
func (d deaf) Snapshot(context.Context, store.Scope, engine.Day) (store.Snapshot, error) {
	<-d.gate
	return store.Snapshot{}, nil
}

// What is made of a window that was loaded ahead keeps nobody waiting who has joined.
func TestAhead_IsHandedOnOnceThoseWhoJoinedAreTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var handed []store.Snapshot
		free := make(chan struct{})
		g, s, _ := gatedNear(t, 5, window.Ahead(func(sc store.Scope, snap store.Snapshot) {
			if sc == alice {
				handed = append(handed, snap)
			}
			<-free
		}, silent))
		g.writes(s)
		synctest.Wait()
		joined := reading(t.Context(), s, alice, 10)
		synctest.Wait()
		close(g.gate)
		if r := <-joined; r.err != nil || r.Head.Revision != 6 {
			t.Errorf("%v, %v", r.Snapshot, r.err)
		}
		synctest.Wait()
		if len(handed) != 1 || handed[0].Head.Revision != 6 || g.loads != 1 {
			t.Errorf("%d handed on, %d loads", len(handed), g.loads)
		}
		close(free)
	})
}

func TestAhead_OnlyWhatWasLoadedIsHandedOn(t *testing.T) {
	for name, ends := range map[string]func(){"panic": func() { panic("a bug") }, "exit": runtime.Goexit} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				g, s, begun := gatedNear(t, 5, window.Ahead(func(store.Scope, store.Snapshot) { t.Error("it is handed on") }, silent))
				g.ends = ends
				close(g.gate)
				g.writes(s)
				synctest.Wait()
				if begun.Load() != 1 {
					t.Error("no load")
				}
			})
		})
	}
}

// A panic of what is made ahead is nobody's call: it ends neither the process nor
// what comes after it.
func TestAhead_APanicOfWhatIsMadeEndsThere(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var said bytes.Buffer
		g, s, begun := gatedNear(t, 5, window.Ahead(func(store.Scope, store.Snapshot) { panic("a bug") }, slog.New(slog.NewTextHandler(&said, nil))))
		close(g.gate)
		for n := range int64(20) { // more than there is room for at once
			g.writes(s)
			synctest.Wait()
			if _, _, err := s.Snapshot(t.Context(), alice, 10); err != nil || begun.Load() != n+1 {
				t.Fatalf("%v, %d loads", err, begun.Load())
			}
		}
		synctest.Wait()
		if n := strings.Count(said.String(), "a bug"); n != 20 {
			t.Errorf("%d panics are told of 20:\n%s", n, said.String())
		}
	})
}

// Whoever is forgotten while a window is loaded is in no bag afterwards, whether it
// is loaded ahead or for somebody.
func TestForget_WhatIsUnderWayIsNotKept(t *testing.T) {
	for name, begin := range map[string]func(*testing.T, *gated, *window.Source){
		"ahead":        func(_ *testing.T, g *gated, s *window.Source) { g.writes(s) },
		"for somebody": func(t *testing.T, g *gated, s *window.Source) { g.write(); reading(t.Context(), s, alice, 10) },
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				bag, err := window.NewLocal(1000)
				if err != nil {
					t.Fatal(err)
				}
				old := log{head: head("aa", 5)}
				bag.Put(t.Context(), alice, old.snapshot(alice, 10))
				g := &gated{revision: 5, gate: make(chan struct{})}
				s := window.NewSource(g, bag, uncounted, window.Ahead(func(store.Scope, store.Snapshot) { t.Error("it is handed on") }, silent))
				begin(t, g, s)
				synctest.Wait()
				s.Forget(alice)
				bag.Forget(alice)
				close(g.gate)
				synctest.Wait()
				if _, ok := bag.Get(t.Context(), alice); ok {
					t.Error("the forgotten trainee is in the bag")
				}
				<-reading(t.Context(), s, alice, 10) // the next one of that id
				if _, ok := bag.Get(t.Context(), alice); !ok {
					t.Error("nothing is kept any more")
				}
			})
		})
	}
}

// Who forgets waits for what is being made of a window, so that it can be dropped.
func TestForget_WaitsForWhatIsBeingMade(t *testing.T) {
	var made atomic.Bool
	begun := make(chan struct{})
	g, s, _ := gatedNear(t, 5, window.Ahead(func(store.Scope, store.Snapshot) {
		close(begun)
		time.Sleep(20 * time.Millisecond)
		made.Store(true)
	}, silent))
	close(g.gate)
	g.writes(s)
	<-begun
	s.Forget(alice)
	if !made.Load() {
		t.Error("it is still being made")
	}
}

// Who asks for fewer days joins a load of more, and gets what it has asked for.
func TestSource_JoinsALoadOfMoreDays(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g, s, _ := gatedNear(t, 5)
		g.writes(s) // from day 10 on
		synctest.Wait()
		fewer, more := reading(t.Context(), s, alice, 11), reading(t.Context(), s, alice, 9)
		synctest.Wait()
		close(g.gate)
		if r := <-fewer; r.err != nil || r.Window.First != 11 || r.Head.Revision != 6 || r.Window.At(12).WeightKg.V != 6 {
			t.Errorf("%v, %v", r.Snapshot, r.err)
		}
		if r := <-more; r.err != nil || r.Window.First != 9 {
			t.Errorf("%v, %v", r.Snapshot, r.err)
		}
		if g.loads != 2 {
			t.Errorf("%d loads, want the one ahead and the longer one", g.loads)
		}
	})
}

// Who has asked for ten years once does not have them loaded with each write.
func TestWritten_LoadsNoMoreThanARecommendationNeeds(t *testing.T) {
	bag, err := window.NewLocal(10_000)
	if err != nil {
		t.Fatal(err)
	}
	old := log{head: head("aa", 5), days: map[engine.Day]float64{5000: 80}}
	bag.Put(t.Context(), alice, old.snapshot(alice, 10))
	st := &gated{revision: 6, gate: make(chan struct{})}
	close(st.gate)
	loaded := make(chan engine.Day, 1)
	s := window.NewSource(st, bag, uncounted, window.Ahead(func(_ store.Scope, snap store.Snapshot) { loaded <- snap.Window.First }, silent))
	s.Written(alice, head("aa", 6))
	if first := <-loaded; first < 5001-430 || first > 5001-402 {
		t.Errorf("loaded from day %d on, to day 5000", first)
	}
}

// A caller that noted a head before an erasure does not bring it back after it.
func TestForget_ASightingFromBeforeIsNotKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g, s, _ := gatedNear(t, 5)
		token := head("aa", 5)
		asked := make(chan error, 1)
		go func() {
			_, _, err := s.AtLeast(t.Context(), alice, 9, token) // which the bag does not have
			asked <- err
		}()
		synctest.Wait()
		s.Forget(alice)
		close(g.gate)
		if err := <-asked; err != nil {
			t.Fatal(err)
		}
		g.write()
		snap, origin, err := s.AtLeast(t.Context(), alice, 10, token)
		if err != nil || origin != window.FromStore || snap.Head.Revision != 6 {
			t.Errorf("%v from %v, %v: the head from before the erasure stands in for the present one", snap.Head, origin, err)
		}
	})
}
