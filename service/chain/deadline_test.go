package chain

import (
	"context"
	"errors"
	"runtime"
	"testing"
	"testing/synctest"
	"time"
)

type askedFor struct{}

// TestWithDeadline_IsWhatTheContextPackageMakes: whatever ends it, and whether or
// not somebody waits for that, it says the same as a context of context.WithDeadline
// on the same caller.
func TestWithDeadline_IsWhatTheContextPackageMakes(t *testing.T) {
	type both struct {
		ours *withDeadline
		want context.Context

		caller, over context.CancelFunc
	}
	ends := map[string]func(b both){
		"time":            func(both) { time.Sleep(time.Minute) },
		"the caller":      func(b both) { b.caller() },
		"the handler":     func(b both) { b.over() },
		"caller and time": func(b both) { b.caller(); time.Sleep(time.Minute) },
		"time and caller": func(b both) { time.Sleep(time.Minute); _ = b.ours.Err(); b.caller() },
		"time, handler":   func(b both) { time.Sleep(time.Minute); _ = b.ours.Err(); b.over() },
	}
	waits := map[string]func(ctx context.Context) context.Context{
		"nobody":   func(ctx context.Context) context.Context { return ctx },
		"handler":  func(ctx context.Context) context.Context { ctx.Done(); return ctx },
		"a child":  func(ctx context.Context) context.Context { return within(t, ctx) },
		"a value":  func(ctx context.Context) context.Context { return context.WithValue(ctx, askedFor{}, 1) },
		"children": func(ctx context.Context) context.Context { return within(t, within(t, ctx)) },
	}
	for by, end := range ends {
		for who, wait := range waits {
			t.Run(by+", waits: "+who, func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					caller, cancel := context.WithCancel(context.WithValue(t.Context(), askedFor{}, "the caller's"))
					defer cancel()
					at := time.Now().Add(time.Minute)
					want, over := context.WithDeadline(caller, at)
					defer over()
					ours := &withDeadline{Context: caller, at: at}
					defer ours.end()
					b := both{ours, want, cancel, func() { over(); ours.end() }}
					ctx, wanted := wait(ours), wait(want)
					if got, ok := ctx.Deadline(); !ok || !got.Equal(at) {
						t.Errorf("its deadline is %v, %v", got, ok)
					}
					if ctx.Value(askedFor{}) != wanted.Value(askedFor{}) {
						t.Errorf("a value is %v", ctx.Value(askedFor{}))
					}
					time.Sleep(time.Minute - 1)
					if err := ctx.Err(); err != nil {
						t.Errorf("ended before: %v", err)
					}
					end(b)
					synctest.Wait()
					first := ctx.Err()
					if first == nil || !errors.Is(first, wanted.Err()) || !errors.Is(context.Cause(ctx), context.Cause(wanted)) {
						t.Errorf("%v because of %v, want %v because of %v", first, context.Cause(ctx), wanted.Err(), context.Cause(wanted))
					}
					select {
					case <-ctx.Done():
					default:
						t.Error("its end is not to be seen")
					}
					if !errors.Is(ctx.Err(), first) {
						t.Errorf("first %v, then %v", first, ctx.Err())
					}
				})
			})
		}
	}
}

func within(t *testing.T, ctx context.Context) context.Context {
	child, cancel := context.WithCancel(ctx)
	t.Cleanup(cancel)
	return child
}

// TestWithDeadline_CostsNoGoroutine: the context package starts one for each child
// of a context that it does not know.
func TestWithDeadline_CostsNoGoroutine(t *testing.T) {
	ctx := &withDeadline{Context: t.Context(), at: time.Now().Add(time.Hour)}
	defer ctx.end()
	before := runtime.NumGoroutine()
	for range 100 {
		within(t, ctx)
	}
	if more := runtime.NumGoroutine() - before; more > 50 {
		t.Errorf("%d goroutines more for 100 children", more)
	}
}
