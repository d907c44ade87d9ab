package service

import (
	"context"
	"math/rand/v2"
	"sync"
	"time"
)

const (
	// useInterval is how often the last uses of keys are noted.
	useInterval = time.Minute
	// flushTimeout bounds noting them.
	flushTimeout = 10 * time.Second

	// sweepDelay is how long after its start a program sweeps first, and sweepInterval
	// how often then. Each wait is up to half as long again, so that replicas that start
	// together do not sweep together.
	sweepDelay    = 5 * time.Minute
	sweepInterval = time.Hour
)

// startTasks does now and then what no caller waits for. The function that it
// returns waits until nothing of it goes on.
func (a *App) startTasks(ctx context.Context) (wait func()) {
	ctx, stop := context.WithCancel(ctx)
	var all sync.WaitGroup
	all.Go(func() {
		every(ctx, useInterval, func() time.Duration { return useInterval }, func() { a.noteUses(ctx) })
	})
	all.Go(func() {
		every(ctx, jittered(sweepDelay), func() time.Duration { return jittered(sweepInterval) }, func() { a.sweep(ctx) })
	})
	return func() {
		stop()
		all.Wait()
	}
}

// every runs f after first, and again each time that next says, until ctx ends.
func every(ctx context.Context, first time.Duration, next func() time.Duration, f func()) {
	timer := time.NewTimer(first)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
			f()
			timer.Reset(next())
		}
	}
}

// jittered is a duration up to half as long again.
func jittered(d time.Duration) time.Duration { return d + rand.N(d/2) } // #nosec G404 -- jitter

// noteUses has the last uses of keys noted. Losing some harms nobody.
func (a *App) noteUses(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, flushTimeout)
	defer cancel()
	if err := a.uses.Flush(ctx); err != nil {
		a.log.WarnContext(ctx, "last uses of keys are not noted", "cause", err.Error())
	}
}

// sweep removes what is over. Only counts are logged.
func (a *App) sweep(ctx context.Context) {
	swept, err := sweepAll(ctx, a.store, a.names, time.Now(), a.cfg.auditKept())
	for _, sc := range swept.Erased {
		a.forget(ctx, sc)
	}
	if err != nil && ctx.Err() == nil {
		a.log.ErrorContext(ctx, "the sweep broke off", "cause", err.Error())
	}
	if len(swept.Erased) > 0 || swept.RequestIDs > 0 || swept.Audit > 0 {
		a.log.InfoContext(ctx, "swept", "erased_trainees", len(swept.Erased), "request_ids", swept.RequestIDs, "audit_records", swept.Audit)
	}
}
