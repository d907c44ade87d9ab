package limit

import (
	"slices"
	"time"
)

// recent knows the median of the last durations.
type recent struct {
	last  [63]time.Duration // in order of their coming
	known []time.Duration   // the same, sorted
	n     int               // since it was last empty
	at    time.Time         // when the last one was added
}

// stale is when durations are of no more use. Without it, work that is refused
// for having been slow once would never be measured again.
const stale = time.Second

func (r *recent) add(d time.Duration, now time.Time) {
	if now.Sub(r.at) > stale {
		r.n, r.known = 0, r.known[:0]
	}
	r.at = now
	oldest := &r.last[r.n%len(r.last)]
	if r.n >= len(r.last) {
		i, _ := slices.BinarySearch(r.known, *oldest)
		r.known = slices.Delete(r.known, i, i+1)
	}
	*oldest = d
	r.n++
	i, _ := slices.BinarySearch(r.known, d)
	r.known = slices.Insert(r.known, i, d)
}

// median is zero when nothing was added of late.
func (r *recent) median() time.Duration {
	if time.Since(r.at) > stale {
		return 0
	}
	return r.known[len(r.known)/2]
}
