package limit

import (
	"context"
	"sync"
	"time"
)

// burstTime is how long a caller may have saved up calls for.
const burstTime = 10 * time.Second

// Rates bounds how often things with an id happen, each id on its own, by the
// generic cell rate algorithm (ITU-T I.371, from memory): an id's cells are due
// one interval apart, and may come early by so much.
type Rates struct {
	interval, early time.Duration

	mu   sync.Mutex
	due  map[string]time.Time // when an id's next cell is due, if not by now
	most int                  // ids to hold before those that are due are forgotten
}

// fewest ids are held before any is forgotten.
const fewest = 1024

// NewRates allows so many a second, and ten seconds' worth at once.
func NewRates(perSecond int) *Rates {
	interval := time.Second / time.Duration(perSecond)
	return &Rates{interval: interval, early: burstTime - interval, due: map[string]time.Time{}, most: fewest}
}

// Take counts one. Zero is go ahead; otherwise it was not counted and may be
// tried again after so long.
func (r *Rates) Take(_ context.Context, id string) time.Duration {
	now := time.Now()
	r.mu.Lock()
	defer r.mu.Unlock()
	due, known := r.due[id]
	if !known || due.Before(now) {
		due = now
	}
	if wait := due.Sub(now) - r.early; wait > 0 {
		return wait
	}
	if !known && len(r.due) >= r.most {
		r.forget(now)
	}
	r.due[id] = due.Add(r.interval)
	return 0
}

// wait is what Take would return, counting nothing: zero or less is go ahead.
func (r *Rates) wait(id string) time.Duration {
	r.mu.Lock()
	defer r.mu.Unlock()
	due, known := r.due[id]
	if !known {
		return 0
	}
	return time.Until(due) - r.early
}

// forget drops the ids that are due by now: they are as if never seen. What is
// left decides when to do so again, so that it costs little for each call.
func (r *Rates) forget(now time.Time) {
	for id, due := range r.due {
		if !due.After(now) {
			delete(r.due, id)
		}
	}
	r.most = max(fewest, 2*len(r.due))
}
