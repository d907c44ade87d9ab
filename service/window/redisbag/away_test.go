//go:build unix

package redisbag_test

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
	"example.com/steelyard/service/window/redisbag"
	"example.com/steelyard/service/window/redistest"
)

// hurried is a budget for tests in which Redis does not answer.
const hurried = 50 * time.Millisecond

// TestBag_APausedRedis: reads cost the budget a few times, then nothing, and it
// is used again when it is back.
func TestBag_APausedRedis(t *testing.T) {
	r := redistest.Start(t)
	s := open(t, r, r.Addr, func(o *redisbag.Options) { o.Budget, o.Pause = hurried, 500*time.Millisecond })
	src, tr := s.source()
	s.mustServe(t, src, tr, alice)
	s.until(t, redisbag.Filled, 1)
	r.Pause()
	for range 12 {
		if from := s.mustServe(t, src, tr, alice); from != window.FromStore {
			t.Error("a paused Redis served")
		}
	}
	opened := s.of(redisbag.Opened) // once, unless the machine is so busy that the pause is over
	if opened == 0 || s.of(redisbag.GetSkipped) == 0 {
		t.Errorf("opened %d times, %d reads did not ask", opened, s.of(redisbag.GetSkipped))
	}
	if failed := s.of(redisbag.GetFailed) + s.of(redisbag.FillFailed); failed < 5 || failed > 9*opened {
		t.Errorf("%d uses waited for it, which opened the breaker %d times", failed, opened)
	}
	r.Resume()
	for deadline := time.Now().Add(10 * time.Second); s.mustServe(t, src, tr, alice) != window.FromBag; time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("it is back, and not used")
		}
	}
	s.until(t, redisbag.Closed, 1)
	text := s.log.String()
	if !strings.Contains(text, "does not answer") || !strings.Contains(text, "answers again") {
		t.Errorf("logged %q", text)
	}
	for _, private := range []string{alice.Trainee, alice.Tenant, "Invented", "w1:", string(secret)} {
		if strings.Contains(text, private) {
			t.Errorf("%q is in the log", private)
		}
	}
}

func TestBag_ASpoiltLine(t *testing.T) {
	r := redistest.Start(t)
	line := redistest.NewProxy(t, r)
	s := open(t, r, line.Addr, func(o *redisbag.Options) { o.Budget, o.Pause = hurried, 20*time.Millisecond })
	src, tr := s.source()
	for name, spoil := range map[string]func(){
		"slow": func() { line.Slow(10 * hurried) }, "reset": line.Reset, "cut": func() { line.Cut(20) },
	} {
		healthy(t, s, src, tr)
		spoil()
		before := s.of(redisbag.GetFailed) + s.of(redisbag.GetSkipped)
		for range 10 {
			s.mustServe(t, src, tr, alice)
		}
		if s.of(redisbag.GetFailed)+s.of(redisbag.GetSkipped) == before {
			t.Errorf("%s: nothing failed, so the test shows nothing", name)
		}
		line.Heal()
	}
	healthy(t, s, src, tr)
}

// healthy waits until the bag serves.
func healthy(t *testing.T, s *setup, src *window.Source, tr *truth) {
	t.Helper()
	for deadline := time.Now().Add(10 * time.Second); s.mustServe(t, src, tr, alice) != window.FromBag; time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("the bag does not serve again")
		}
	}
}

// TestBag_NoRedisAtAll: nobody listens.
func TestBag_NoRedisAtAll(t *testing.T) {
	r := redistest.Start(t)
	s := open(t, r, "127.0.0.1:1", nil)
	src, tr := s.source()
	for range 30 {
		if from := s.mustServe(t, src, tr, alice); from != window.FromStore {
			t.Error("served from nothing")
		}
	}
	s.Forget(t.Context(), alice)
	if s.of(redisbag.Opened) == 0 || s.of(redisbag.ForgetFailed) != 1 || s.of(redisbag.Filled) != 0 {
		t.Errorf("opened %d, forgetting failed %d, filled %d times", s.of(redisbag.Opened), s.of(redisbag.ForgetFailed), s.of(redisbag.Filled))
	}
}

// TestBag_TheClientIsSilent: go-redis has a logger of its own, on the standard
// error, so the look has to come from outside.
func TestBag_TheClientIsSilent(t *testing.T) {
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run", "^TestBag_(NoRedisAtAll|ASpoiltLine)$", "-test.v")
	out, err := cmd.CombinedOutput()
	if err != nil || !strings.Contains(string(out), "TestBag_") {
		t.Fatalf("%v: %s", err, out)
	}
	if strings.Contains(string(out), "redis: ") {
		t.Errorf("%s", out)
	}
}

// TestBag_ACallerThatLeavesIsNoFailure of Redis.
func TestBag_ACallerThatLeavesIsNoFailure(t *testing.T) {
	s := start(t)
	s.put(t, alice, 5)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for range 20 {
		if _, ok := s.Get(ctx, alice); ok {
			t.Error("a caller that left was answered")
		}
	}
	if s.of(redisbag.Opened) != 0 {
		t.Error("the breaker opened")
	}
	s.mustGet(t, alice, 5, redisbag.Hit)
}

// TestBag_PutNeverWaits: with a Redis that hangs the queue fills up, and what
// comes then is dropped.
func TestBag_PutNeverWaits(t *testing.T) {
	r := redistest.Start(t)
	s := open(t, r, r.Addr, nil) // a fill hangs for all of its patience
	s.put(t, alice, 1)
	r.Pause()
	done := make(chan struct{})
	go func() {
		defer close(done)
		for i := range int64(2000) {
			s.Put(t.Context(), alice, snapshot(alice, i))
		}
	}()
	select {
	case <-done:
	case <-time.After(20 * time.Second):
		t.Fatal("Put waits for Redis")
	}
	if n := s.of(redisbag.FillDropped); n != 2000-512-2 {
		t.Errorf("%d dropped", n)
	}
	// Closing ends with its context, whatever hangs.
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	if err := s.Close(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("close: %v", err)
	}
	r.Resume()
}

func TestBag_CloseDrains(t *testing.T) {
	r := redistest.Start(t)
	leaks := goleak.IgnoreCurrent()
	s := open(t, r, r.Addr, nil)
	var wg sync.WaitGroup
	for i := range 4 {
		wg.Go(func() {
			for n := range 50 {
				s.Put(t.Context(), store.Scope{Tenant: "gym", Trainee: string(rune('a' + 50*i + n))}, snapshot(alice, 1))
			}
		})
	}
	wg.Wait()
	if err := s.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n, err := r.Client.DBSize(t.Context()).Result(); err != nil || n != 200 || s.of(redisbag.Filled) != 200 {
		t.Errorf("%d of 200 lie there, %d were filled, %v", n, s.of(redisbag.Filled), err)
	}
	s.Put(t.Context(), alice, snapshot(alice, 2))
	if _, ok := s.Get(t.Context(), alice); ok || s.of(redisbag.FillDropped) != 1 {
		t.Error("a closed bag is used")
	}
	_ = s.Close(t.Context())
	goleak.VerifyNone(t, leaks)
}
