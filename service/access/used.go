package access

import (
	"context"
	"sync"
	"time"
)

// UseNoter is where the last uses of keys are kept.
type UseNoter interface {
	UsedKeys(ctx context.Context, used map[string]time.Time) error
}

// Uses remembers which keys were used last when, to the minute, until Flush has them
// noted: a write for each call would cost more than most calls. What was not flushed
// is lost with the process.
type Uses struct {
	Keys UseNoter

	mu     sync.Mutex
	latest map[string]time.Time
}

// Use is Authenticator.Used. Only keys that exist get here, so the map is bounded.
func (u *Uses) Use(id string, at time.Time) {
	at = at.UTC().Truncate(time.Minute)
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.latest == nil {
		u.latest = map[string]time.Time{}
	}
	if u.latest[id].Before(at) {
		u.latest[id] = at
	}
}

// Flush has all uses noted. What could not be noted is kept for the next time.
func (u *Uses) Flush(ctx context.Context) error {
	u.mu.Lock()
	used := u.latest
	u.latest = nil
	u.mu.Unlock()
	if len(used) == 0 {
		return nil
	}
	err := u.Keys.UsedKeys(ctx, used)
	if err != nil {
		for id, at := range used {
			u.Use(id, at)
		}
	}
	return err
}
