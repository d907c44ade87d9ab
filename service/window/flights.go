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

	// Known to the one that carries it out alone: whether those who have joined are
	// told, and the head of what it may take the place of in the bag; of anything when
	// that is zero.
	told bool
	over store.Head

	keeping   sync.Mutex
	forgotten bool // guarded by keeping
}

// tell lets go those who have joined.
func (l *loading) tell() {
	l.told = true
	close(l.done)
}

// keep puts away what was loaded, unless the trainee was forgotten meanwhile.
func (l *loading) keep(put func()) {
	l.keeping.Lock()
	defer l.keeping.Unlock()
	if !l.forgotten {
		put()
	}
}

// forget has nothing of a trainee kept any more that is being loaded. Once it has
// returned, what was kept has been kept.
func (f *flights) forget(sc store.Scope) {
	f.mu.Lock()
	var under []*loading
	for of, l := range f.under {
		if of.scope == sc {
			under = append(under, l)
		}
	}
	f.mu.Unlock()
	for _, l := range under {
		l.keeping.Lock()
		l.forgotten = true
		l.keeping.Unlock()
	}
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

// end lets go those who have joined and have not been told; nobody joins any more.
func (f *flights) end(of flight, l *loading) {
	f.mu.Lock()
	delete(f.under, of)
	f.mu.Unlock()
	if !l.told {
		l.tell()
	}
}
