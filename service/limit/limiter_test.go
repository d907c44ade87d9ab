package limit

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// outcomes counts what a limiter decided.
type outcomes struct {
	mu sync.Mutex
	n  map[Outcome]int
}

func (o *outcomes) count(_ context.Context, what Outcome) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.n == nil {
		o.n = map[Outcome]int{}
	}
	o.n[what]++
}

// crowd enters a limiter from goroutines of their own, in a synctest bubble.
type crowd struct {
	t    *testing.T
	l    *Limiter
	mu   sync.Mutex
	in   []string          // who got a slot, in order
	left map[string]func() // how they leave
	err  map[string]error  // who was refused
}

func newCrowd(t *testing.T, l *Limiter) *crowd {
	return &crowd{t: t, l: l, left: map[string]func(){}, err: map[string]error{}}
}

// enter asks for a slot and returns once it is clear whether it has to wait.
func (c *crowd) enter(ctx context.Context, name string, w Work) {
	go func() {
		slot, err := c.l.Enter(ctx, w)
		c.mu.Lock()
		defer c.mu.Unlock()
		if err != nil {
			c.err[name] = err
			return
		}
		c.in, c.left[name] = append(c.in, name), slot.Leave
	}()
	synctest.Wait()
}

// said is what somebody was refused with.
func (c *crowd) said(name string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.err[name]
}

func (c *crowd) leave(name string) {
	c.t.Helper()
	if c.left[name] == nil {
		c.t.Fatalf("%s has no slot; %v have", name, c.in)
	}
	c.left[name]()
	synctest.Wait()
}

// leaveAll lets everybody through, and checks that nothing is left behind.
func (c *crowd) leaveAll() {
	c.t.Helper()
	for i := 0; i < len(c.in); i++ {
		c.leave(c.in[i])
	}
	l := c.l
	if l.free != l.slots || l.waiting != 0 || len(l.tenants) != 0 {
		c.t.Errorf("left behind: %d of %d slots free, %d waiting, tenants %v", l.free, l.slots, l.waiting, l.tenants)
	}
}

func refusal(t *testing.T, err error) *fault.Exhausted {
	t.Helper()
	var e *fault.Exhausted
	if !errors.As(err, &e) || e.Reason != fault.ReasonOverloaded || e.Sentence == "" {
		t.Fatalf("refused with %v", err)
	}
	if e.After < soonest || e.After > latest*3/2 {
		t.Errorf("to come again after %v", e.After)
	}
	return e
}

func TestNew_FollowsTheProcessors(t *testing.T) {
	l := New(Options{})
	if want := 4 * runtime.GOMAXPROCS(0); l.slots != want || l.queue != 8*want {
		t.Errorf("%d slots and %d waiters on %d processors", l.slots, l.queue, runtime.GOMAXPROCS(0))
	}
	if l := New(Options{Slots: 3, Waiters: 2}); l.slots != 3 || l.queue != 6 {
		t.Errorf("%d slots and %d waiters, set 3 and 2 for each", l.slots, l.queue)
	}
}

func TestEnter_WorksWaitsAndRefuses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var o outcomes
		c := newCrowd(t, New(Options{Slots: 2, Waiters: 2, Count: o.count}))
		for i := range 6 {
			c.enter(t.Context(), fmt.Sprint(i), Work{"a", Read})
		}
		if working, waiting := c.l.Load(); working != 2 || waiting != 4 || len(c.err) != 0 {
			t.Fatalf("%d work, %d wait, refused %v", working, waiting, c.err)
		}
		c.enter(t.Context(), "6", Work{"a", Read})
		refusal(t, c.err["6"])
		c.leave("0")
		c.left["0"]() // twice is once
		synctest.Wait()
		if working, waiting := c.l.Load(); working != 2 || waiting != 3 {
			t.Errorf("after one left %d work, %d wait", working, waiting)
		}
		c.leaveAll()
		if !slices.Equal(c.in, []string{"0", "1", "2", "3", "4", "5"}) {
			t.Errorf("served %v", c.in)
		}
		if !maps.Equal(o.n, map[Outcome]int{Admitted: 6, QueueFull: 1}) {
			t.Errorf("counted %v", o.n)
		}
	})
}

func TestEnter_Order(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCrowd(t, New(Options{Slots: 1}))
		c.enter(t.Context(), "first", Work{"a", Bulk})
		for _, w := range []struct {
			name string
			Work
		}{
			{"bulk 1", Work{"a", Bulk}}, {"write 1", Work{"a", Write}}, {"read 1", Work{"a", Read}},
			{"bulk 2", Work{"a", Bulk}}, {"write 2", Work{"a", Write}}, {"read 2", Work{"a", Read}},
		} {
			c.enter(t.Context(), w.name, w.Work)
		}
		c.leaveAll()
		if want := []string{"first", "read 1", "read 2", "write 1", "write 2", "bulk 1", "bulk 2"}; !slices.Equal(c.in, want) {
			t.Errorf("served %v, want %v", c.in, want)
		}
	})
}

func TestEnter_OrderOverTenants(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCrowd(t, New(Options{Slots: 1}))
		for i, tenant := range []string{"first", "bulk", "write", "read"} {
			c.enter(t.Context(), tenant, Work{tenant, []Priority{Bulk, Bulk, Write, Read}[i]})
		}
		c.leaveAll()
		if want := []string{"first", "read", "write", "bulk"}; !slices.Equal(c.in, want) {
			t.Errorf("served %v, want %v", c.in, want)
		}
	})
}

// TestEnter_TenantShare: alone a tenant may have everything; while another
// waits it gets no slot beyond half, and the other is served next.
func TestEnter_TenantShare(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCrowd(t, New(Options{Slots: 4, Waiters: 4}))
		for i := range 8 {
			c.enter(t.Context(), fmt.Sprint("noisy ", i), Work{"noisy", Read})
		}
		if len(c.in) != 4 {
			t.Fatalf("alone it has %v", c.in)
		}
		for i := range 8 {
			c.enter(t.Context(), fmt.Sprint("quiet ", i), Work{"quiet", Write})
		}
		c.leave("noisy 0")
		c.leave("noisy 1")
		if got := c.in[4:]; !slices.Equal(got, []string{"quiet 0", "quiet 1"}) {
			t.Fatalf("the two slots went to %v", got)
		}
		// Half each: a read of the noisy one goes before a write of the quiet one
		// only into its own half.
		c.leave("quiet 0")
		c.leave("noisy 2")
		if got := c.in[6:]; !slices.Equal(got, []string{"quiet 2", "noisy 4"}) {
			t.Errorf("then to %v", got)
		}
		c.leaveAll()
	})
}

func TestEnter_AmongEqualsTheTenantWithLeast(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCrowd(t, New(Options{Slots: 6, Waiters: 4}))
		for i, tenant := range []string{"a", "a", "b", "b", "c", "d", "a", "b", "c"} {
			c.enter(t.Context(), fmt.Sprint(tenant, i), Work{tenant, Read})
		}
		c.leave("d5")
		if got := c.in[6:]; !slices.Equal(got, []string{"c8"}) {
			t.Errorf("%v next, c has fewest slots", got)
		}
		c.leaveAll()
	})
}

func TestEnter_MakesRoom(t *testing.T) {
	for _, c := range []struct {
		name    string
		waiting []Work
		comes   Work
		gone    int // index of who has to go; -1: the newcomer is refused
	}{
		{"same tenant, same priority", []Work{{"a", Read}, {"a", Read}, {"a", Read}, {"a", Read}}, Work{"a", Read}, -1},
		{"same tenant, lower waits", []Work{{"a", Write}, {"a", Bulk}, {"a", Bulk}, {"a", Read}}, Work{"a", Read}, 2},
		{"same tenant, higher waits", []Work{{"a", Read}, {"a", Read}, {"a", Read}, {"a", Read}}, Work{"a", Write}, -1},
		{"another tenant fills it", []Work{{"a", Read}, {"a", Write}, {"a", Write}, {"a", Read}}, Work{"b", Bulk}, 2},
		{"two others fill it", []Work{{"a", Read}, {"b", Read}, {"a", Read}, {"b", Read}}, Work{"c", Read}, 3},
		{"fair already", []Work{{"a", Read}, {"b", Read}, {"a", Read}, {"b", Read}}, Work{"a", Read}, -1},
		{"fair already, but lower", []Work{{"a", Read}, {"b", Bulk}, {"a", Read}, {"b", Write}}, Work{"a", Read}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var o outcomes
				crowd := newCrowd(t, New(Options{Slots: 1, Waiters: 4, Count: o.count}))
				crowd.enter(t.Context(), "works", Work{"z", Read})
				for i, w := range c.waiting {
					crowd.enter(t.Context(), fmt.Sprint(i), w)
				}
				crowd.enter(t.Context(), "new", c.comes)
				want, reason := fmt.Sprint(c.gone), Displaced
				if c.gone < 0 {
					want, reason = "new", QueueFull
				}
				if len(crowd.err) != 1 || crowd.err[want] == nil || o.n[reason] != 1 {
					t.Fatalf("refused %v, counted %v; want %s for %s", crowd.err, o.n, want, reason)
				}
				refusal(t, crowd.err[want])
				crowd.leaveAll()
			})
		})
	}
}

// TestEnter_RefusesAtOnceWhatWouldBeTooLate goes by what the like of it took.
func TestEnter_RefusesAtOnceWhatWouldBeTooLate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var o outcomes
		c := newCrowd(t, New(Options{Slots: 1, Count: o.count}))
		c.enter(t.Context(), "measured", Work{"a", Read})
		time.Sleep(100 * time.Millisecond)
		c.leave("measured")
		within := func(d time.Duration) context.Context {
			ctx, cancel := context.WithTimeout(t.Context(), d)
			t.Cleanup(cancel)
			return ctx
		}
		c.enter(within(50*time.Millisecond), "free", Work{"a", Read})
		if c.left["free"] == nil {
			t.Fatal("with a slot free it is tried")
		}
		began := time.Now()
		c.enter(within(99*time.Millisecond), "short", Work{"a", Read})
		c.enter(within(100*time.Millisecond), "enough", Work{"a", Read})
		c.enter(within(199*time.Millisecond), "short behind one", Work{"a", Read})
		c.enter(within(50*time.Millisecond), "other kind, not measured", Work{"a", Write})
		for name, want := range map[string]bool{"short": true, "enough": false, "short behind one": true, "other kind, not measured": false} {
			if refused := c.err[name] != nil; refused != want {
				t.Errorf("%s: %v", name, c.err[name])
			}
		}
		if waited := time.Since(began); waited != 0 {
			t.Errorf("it took %v to refuse", waited)
		}
		refusal(t, c.err["short"])
		// What was in time when it came and is not when its turn comes is not begun.
		time.Sleep(time.Millisecond)
		c.leave("free")
		if c.err["enough"] == nil || c.left["other kind, not measured"] == nil || o.n[TooLate] != 3 {
			t.Errorf("after a while: %v, working %v, counted %v", c.err, c.in, o.n)
		}
		c.leaveAll()
	})
}

func TestEnter_GivesUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var o outcomes
		c := newCrowd(t, New(Options{Slots: 1, Count: o.count}))
		c.enter(t.Context(), "works", Work{"a", Read})
		gone, cancel := context.WithCancel(t.Context())
		late, stop := context.WithTimeout(t.Context(), time.Second)
		defer stop()
		c.enter(gone, "gone", Work{"b", Read})
		c.enter(late, "late", Work{"b", Read})
		cancel()
		synctest.Wait()
		if !errors.Is(c.said("gone"), context.Canceled) {
			t.Errorf("gone: %v", c.said("gone"))
		}
		time.Sleep(time.Second)
		synctest.Wait()
		refusal(t, c.said("late"))
		if _, waiting := c.l.Load(); waiting != 0 {
			t.Errorf("%d wait", waiting)
		}
		if _, err := c.l.Enter(gone, Work{"a", Read}); !errors.Is(err, context.Canceled) {
			t.Errorf("gone before: %v", err)
		}
		if !maps.Equal(o.n, map[Outcome]int{Admitted: 1, TooLate: 1}) {
			t.Errorf("counted %v", o.n)
		}
		c.leaveAll()
	})
}

// TestEnter_KeepsItsPromises: many callers of any kind with any patience. Never
// do more work, or wait, than may; a free slot is never withheld; everybody is
// answered once, and nothing is left behind.
func TestEnter_KeepsItsPromises(t *testing.T) {
	for seed := range 40 {
		synctest.Test(t, func(t *testing.T) {
			rng := rapid.Custom(func(rt *rapid.T) []Work {
				return rapid.SliceOfN(rapid.Custom(func(rt *rapid.T) Work {
					return Work{rapid.SampledFrom([]string{"a", "a", "a", "b", "c"}).Draw(rt, "tenant"), Priority(rapid.IntRange(0, priorities-1).Draw(rt, "priority"))}
				}), 100, 200).Draw(rt, "work")
			})
			var o outcomes
			l := New(Options{Slots: 1 + seed%4, Waiters: 1 + seed%3, Count: o.count})
			var working, done, refused, gone atomic.Int64
			var all sync.WaitGroup
			for i, w := range rng.Example(seed) {
				all.Go(func() {
					time.Sleep(time.Duration(i*7919%149) * time.Millisecond)
					ctx, cancel := context.WithTimeout(t.Context(), time.Duration(1+i*31%90)*time.Millisecond)
					defer cancel()
					if i%11 == 0 {
						time.AfterFunc(3*time.Millisecond, cancel)
					}
					slot, err := l.Enter(ctx, w)
					l.mu.Lock()
					if l.waiting > l.queue || l.free < 0 || (l.free > 0 && l.waiting > 0) {
						t.Errorf("%d free, %d of %d wait", l.free, l.waiting, l.queue)
					}
					l.mu.Unlock()
					var e *fault.Exhausted
					switch {
					case errors.As(err, &e):
						refused.Add(1)
						return
					case errors.Is(err, context.Canceled):
						gone.Add(1)
						return
					case err != nil:
						t.Errorf("%v", err)
						return
					}
					if n := working.Add(1); n > int64(l.slots) {
						t.Errorf("%d work in %d slots", n, l.slots)
					}
					time.Sleep(time.Duration(1+i%20) * time.Millisecond)
					working.Add(-1)
					slot.Leave()
					done.Add(1)
				})
			}
			all.Wait()
			if l.free != l.slots || l.waiting != 0 || len(l.tenants) != 0 {
				t.Errorf("left behind: %d of %d free, %d wait, tenants %v", l.free, l.slots, l.waiting, l.tenants)
			}
			counted := 0
			for _, n := range o.n {
				counted += n
			}
			if done.Load() != int64(o.n[Admitted]) || refused.Load() != int64(counted-o.n[Admitted]) {
				t.Errorf("%d done, %d refused, %d gone, counted %v", done.Load(), refused.Load(), gone.Load(), o.n)
			}
			if done.Load() == 0 || refused.Load() == 0 {
				t.Errorf("%d done, %d refused: nothing was tried", done.Load(), refused.Load())
			}
		})
	}
}

// TestEnter_ForgetsThatItWasSlow: after a stall, work whose callers have less
// time than it took is tried again soon, though others keep the slots busy.
func TestEnter_ForgetsThatItWasSlow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCrowd(t, New(Options{Slots: 1}))
		read := func(name string) {
			ctx, cancel := context.WithTimeout(t.Context(), time.Second)
			t.Cleanup(cancel)
			c.enter(ctx, name, Work{"a", Read})
		}
		c.enter(t.Context(), "stalled", Work{"a", Read})
		time.Sleep(10 * time.Second)
		c.leave("stalled")
		c.enter(t.Context(), "others", Work{"b", Bulk})
		read("at once")
		if c.said("at once") == nil {
			t.Fatal("the stall is not known")
		}
		time.Sleep(stale + 1)
		read("soon")
		c.leave("others")
		time.Sleep(time.Millisecond)
		c.leave("soon")
		c.enter(t.Context(), "others again", Work{"b", Bulk})
		read("from then on")
		if err := c.said("from then on"); err != nil {
			t.Error(err)
		}
		c.leaveAll()
	})
}

func TestRecent_IsTheMedian(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var r recent
		if r.median() != 0 {
			t.Errorf("of nothing: %v", r.median())
		}
		var all []time.Duration
		for i := range 400 {
			if i == 200 {
				time.Sleep(stale + 1)
				all = nil
				if r.median() != 0 {
					t.Errorf("when stale: %v", r.median())
				}
			}
			d := time.Duration(1 + i*7919%1009)
			r.add(d, time.Now())
			all = append(all, d)
			last := slices.Sorted(slices.Values(all[max(0, len(all)-len(r.last)):]))
			if want := last[len(last)/2]; r.median() != want {
				t.Fatalf("after %d: %v, want %v", i+1, r.median(), want)
			}
		}
	})
}

// finder looks keys up slowly and notes how many at once.
type finder struct{ now, most, found atomic.Int64 }

func (f *finder) Key(context.Context, string) (store.Key, error) {
	n := f.now.Add(1)
	for m := f.most.Load(); n > m && !f.most.CompareAndSwap(m, n); m = f.most.Load() {
	}
	time.Sleep(time.Millisecond)
	f.now.Add(-1)
	f.found.Add(1)
	return store.Key{ID: "k"}, nil
}

func TestKeys_AreLookedUpAFewAtATime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &finder{}
		var keys access.KeyFinder = Keys{f, New(Options{Slots: 2, Waiters: 3})}
		var refused atomic.Int64
		var all sync.WaitGroup
		for range 20 {
			all.Go(func() {
				if k, err := keys.Key(t.Context(), "k"); err != nil {
					refusal(t, err)
					refused.Add(1)
				} else if k.ID != "k" {
					t.Errorf("found %v", k)
				}
			})
		}
		all.Wait()
		if f.most.Load() != 2 || f.found.Load() != 8 || refused.Load() != 12 {
			t.Errorf("%d at once, %d found, %d refused", f.most.Load(), f.found.Load(), refused.Load())
		}
	})
}
