package limit

import (
	"slices"
	"time"
)

// recent knows the median of the last durations. It is worked out anew after
// every few of them, so that the wait for it is never on the way of all.
type recent struct {
	last [63]time.Duration
	n    int // since it was last empty
	mid  time.Duration
	at   time.Time // when the last one was added
}

const (
	everyFew = 8
	// stale is when durations are of no more use. Without it, work that is refused
	// for having been slow once would never be measured again.
	stale = time.Second
)

func (r *recent) add(d time.Duration) {
	now := time.Now()
	if now.Sub(r.at) > stale {
		r.n = 0
	}
	r.at = now
	r.last[r.n%len(r.last)] = d
	r.n++
	if r.n >= len(r.last) && r.n%everyFew != 0 {
		return
	}
	known := slices.Clone(r.last[:min(r.n, len(r.last))])
	slices.Sort(known)
	r.mid = known[len(known)/2]
}

// median is zero when nothing was added of late.
func (r *recent) median() time.Duration {
	if time.Since(r.at) > stale {
		return 0
	}
	return r.mid
}
