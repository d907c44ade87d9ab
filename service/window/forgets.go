package window

import (
	"sync"
	"sync/atomic"
)

// Forgets keeps what was read of a trainee before an erasure from being put away
// after it: nobody would be served it, but an erased one must not lie about. The
// zero value is ready.
type Forgets struct {
	mu sync.RWMutex
	n  atomic.Uint64 // changed under the lock
}

// Count returns how many times somebody was forgotten. Whoever reads takes it before.
// It never waits.
func (f *Forgets) Count() uint64 { return f.n.Load() }

// Unless puts away what was read since a count, unless anybody was forgotten since.
// That it was somebody else as a rule costs a place in a bag.
func (f *Forgets) Unless(since uint64, put func()) {
	f.mu.RLock()
	defer f.mu.RUnlock()
	if f.n.Load() == since {
		put()
	}
}

// Forget drops what there is, once all that is being put away is there.
func (f *Forgets) Forget(drop func()) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.n.Add(1)
	drop()
}
