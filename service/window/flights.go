package window

import (
	"errors"
	"slices"
	"sync"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// flights are the loads under way. A caller that begins one carries it out itself: a
// goroutine of its own would grow its stack anew for each. Only what is loaded ahead
// has one.
type flights struct {
	mu    sync.Mutex
	under map[flight][]*loading
}

// flight names a load: whose window, read by callers that have seen which head.
type flight struct {
	scope store.Scope
	head  store.Head
}

// loading is a load under way; snap and err are there once done is closed.
type loading struct {
	first engine.Day // the window begins there
	done  chan struct{}
	snap  store.Snapshot
	err   error

	// Known to the one that carries it out alone: whether those who have joined are
	// told, and the head of what it may take the place of in the bag; of anything when
	// that is zero.
	told bool
	over store.Head
}

// tell lets go those who have joined.
func (l *loading) tell() {
	l.told = true
	close(l.done)
}

var errAborted = errors.New("the load was aborted")

// join returns a load under way of a window that begins on first or before, or a new
// one that the caller has to carry out and to end.
func (f *flights) join(of flight, first engine.Day) (l *loading, begins bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, l := range f.under[of] {
		if l.first <= first {
			return l, false
		}
	}
	l = &loading{first: first, done: make(chan struct{}), err: errAborted}
	if f.under == nil {
		f.under = map[flight][]*loading{}
	}
	f.under[of] = append(f.under[of], l)
	return l, true
}

// end lets go those who have joined and have not been told; nobody joins any more.
func (f *flights) end(of flight, l *loading) {
	f.mu.Lock()
	f.under[of] = slices.DeleteFunc(f.under[of], func(other *loading) bool { return other == l })
	if len(f.under[of]) == 0 {
		delete(f.under, of)
	}
	f.mu.Unlock()
	if !l.told {
		l.tell()
	}
}
