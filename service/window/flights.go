package window

import (
	"errors"
	"sync"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// flights are the loads under way. Who begins one carries it out itself: a
// goroutine of its own would grow its stack anew for each.
type flights struct {
	mu    sync.Mutex
	under map[flight]*loading
}

// flight names a load: whose window, read by callers that have seen which head,
// from which day on.
type flight struct {
	scope store.Scope
	head  store.Head
	first engine.Day
}

// loading is a load under way; snap and err are there once done is closed.
type loading struct {
	done chan struct{}
	snap store.Snapshot
	err  error
}

var errAborted = errors.New("the load was aborted")

// join returns the load under way, or a new one that the caller has to carry
// out and to end.
func (f *flights) join(of flight) (l *loading, begins bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if l, ok := f.under[of]; ok {
		return l, false
	}
	l = &loading{done: make(chan struct{}), err: errAborted}
	if f.under == nil {
		f.under = map[flight]*loading{}
	}
	f.under[of] = l
	return l, true
}

// end lets go those who have joined; nobody joins any more.
func (f *flights) end(of flight, l *loading) {
	f.mu.Lock()
	delete(f.under, of)
	f.mu.Unlock()
	close(l.done)
}
