package limit

import (
	"fmt"
	"testing"
	"testing/synctest"
	"time"
)

func TestRates_BurstThenSteady(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := NewRates(4)
		take := func(id string) time.Duration { return r.Take(t.Context(), id) }
		for i := range 40 {
			if wait := take("a"); wait != 0 {
				t.Fatalf("call %d of the first 40 waits %v", i, wait)
			}
		}
		if wait := take("a"); wait != 250*time.Millisecond {
			t.Errorf("the 41st waits %v, want 250 ms", wait)
		}
		if wait := take("b"); wait != 0 {
			t.Errorf("another id waits %v", wait)
		}
		time.Sleep(249 * time.Millisecond)
		if wait := take("a"); wait != time.Millisecond {
			t.Errorf("just before: %v, want 1 ms", wait)
		}
		time.Sleep(time.Millisecond)
		if wait := take("a"); wait != 0 {
			t.Errorf("on time: %v", wait)
		}
		if wait := take("a"); wait != 250*time.Millisecond {
			t.Errorf("one at a time: %v", wait)
		}
		time.Sleep(time.Hour) // no more than a burst is saved up
		passed := 0
		for take("a") == 0 {
			passed++
		}
		if passed != 40 {
			t.Errorf("%d at once after an hour, want 40", passed)
		}
	})
}

// TestRates_NeverMoreThanPromised: in no stretch of time more than a burst and
// what the rate gives, and whoever keeps to the rate is never refused.
func TestRates_NeverMoreThanPromised(t *testing.T) {
	for _, perSecond := range []int{1, 3, 7, 1000} {
		synctest.Test(t, func(t *testing.T) {
			r := NewRates(perSecond)
			begin := time.Now()
			var passed []time.Duration
			for i := range 20_000 {
				if r.Take(t.Context(), "greedy") == 0 {
					passed = append(passed, time.Since(begin))
				}
				time.Sleep(time.Duration(1+i*7919%5) * time.Second / time.Duration(6*perSecond))
			}
			burst := 10 * perSecond
			for i := burst; i < len(passed); i++ {
				if gap := passed[i] - passed[i-burst]; gap < r.interval {
					t.Fatalf("%d/s: %d passed within %v", perSecond, burst+1, gap)
				}
			}
			if got, most := len(passed), burst+int(time.Since(begin)/r.interval)+1; got > most || got < most*9/10 {
				t.Errorf("%d/s: %d passed, at most %d may", perSecond, got, most)
			}
			for range 1000 {
				if wait := r.Take(t.Context(), "modest"); wait != 0 {
					t.Fatalf("%d/s: one that keeps to the rate waits %v", perSecond, wait)
				}
				time.Sleep(r.interval)
			}
		})
	}
}

func TestRates_ForgetsWhoIsDue(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := NewRates(1)
		for range 10 {
			r.Take(t.Context(), "busy")
		}
		for i := range 100_000 {
			r.Take(t.Context(), fmt.Sprint("once ", i))
			if len(r.due) > 4*fewest {
				t.Fatalf("%d ids are held after %d", len(r.due), i)
			}
			time.Sleep(time.Millisecond)
			if i%1000 != 999 {
				continue
			}
			if first, second := r.Take(t.Context(), "busy"), r.Take(t.Context(), "busy"); first != 0 || second == 0 {
				t.Fatalf("after %d: the busy one waits %v, then %v; it was forgotten", i, first, second)
			}
		}
		if wait := r.Take(t.Context(), "once 1"); wait != 0 {
			t.Errorf("one that is due waits %v", wait)
		}
	})
}
