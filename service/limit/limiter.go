// Package limit keeps the service useful when more is asked of it than it can
// do: it decides which work is done now, which waits a little, and which is
// refused at once with a word on when to come again. Nothing here knows a
// request; it is told a tenant and a priority.
package limit

import (
	"context"
	"errors"
	"math/rand/v2"
	"runtime"
	"sync"
	"time"

	"example.com/steelyard/service/fault"
)

// Priority orders the work that waits; the lower value goes first.
type Priority int

// Priorities. Health checks ask for no slot at all and so come before them.
const (
	Read  Priority = iota // somebody waits for an answer
	Write                 // somebody waits, and may send it again
	Bulk                  // streams, which nobody watches

	priorities = iota
)

const (
	// SlotsPerProcessor leaves room for work that waits for the disk or for a
	// database, without letting it pile up.
	SlotsPerProcessor = 4
	// waitersPerSlot keeps the queue short: what waits longer than a few times
	// the work itself had better be told so.
	waitersPerSlot = 8

	// A refused caller is told to come back when the queue has had time to drain,
	// within these bounds.
	soonest, latest = 100 * time.Millisecond, 5 * time.Second
)

// Work is what asks for a slot.
type Work struct {
	Tenant   string
	Priority Priority
}

// Options of a limiter.
type Options struct {
	Slots   int     // work done at once; 0 is four for each processor that Go uses
	Waiters int     // work that may wait, for each slot; 0 is eight
	Count   Counter // hears of each decision; may be nil
}

// Limiter hands out slots. Whoever has one works; a bounded number waits.
type Limiter struct {
	slots, queue int
	count        Counter

	mu      sync.Mutex
	free    int
	waiting int
	arrived uint64
	tenants map[string]*tenant // those who work or wait
	spare   *tenant            // the last one that was forgotten, for the next one
	took    [priorities]recent
}

// New returns a limiter.
func New(o Options) *Limiter {
	if o.Slots <= 0 {
		o.Slots = SlotsPerProcessor * runtime.GOMAXPROCS(0)
	}
	if o.Waiters <= 0 {
		o.Waiters = waitersPerSlot
	}
	if o.Count == nil {
		o.Count = func(context.Context, Outcome) {}
	}
	return &Limiter{slots: o.Slots, queue: o.Waiters * o.Slots, free: o.Slots, count: o.Count, tenants: map[string]*tenant{}}
}

// Load returns how much is being worked on and how much waits.
func (l *Limiter) Load() (working, waiting int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.slots - l.free, l.waiting
}

// Enter returns when the work may begin; its slot has to be left when it is done.
// The error is a *fault.Exhausted when there is no room, or no time left to do
// the work in, and ctx's own when the caller has gone.
func (l *Limiter) Enter(ctx context.Context, w Work) (_ Slot, err error) {
	if err := ctx.Err(); err != nil {
		return Slot{}, err
	}
	l.mu.Lock()
	if l.free > 0 { // then nobody waits
		l.free--
		l.of(w.Tenant).working++
		l.mu.Unlock()
		return l.granted(ctx, w), nil
	}
	me := &waiter{Work: w, answer: make(chan error, 1)}
	me.deadline, _ = ctx.Deadline()
	refused := Outcome("")
	switch {
	case l.tooLate(me, l.waiting):
		refused = TooLate
	case l.waiting >= l.queue && !l.makeRoom(w):
		refused = QueueFull
	default:
		l.push(me)
	}
	if refused != "" {
		l.count(ctx, refused)
		err = l.exhausted(w.Priority)
	}
	l.mu.Unlock()
	if err != nil {
		return Slot{}, err
	}

	select {
	case err = <-me.answer:
	case <-ctx.Done():
		err = l.giveUp(ctx, me)
	}
	if err != nil {
		return Slot{}, err
	}
	return l.granted(ctx, w), nil
}

// granted counts the work in.
func (l *Limiter) granted(ctx context.Context, w Work) Slot {
	l.count(ctx, Admitted)
	return Slot{limiter: l, work: w, began: time.Now()}
}

// Slot is what work has while it is done. The zero Slot is none.
type Slot struct {
	limiter *Limiter
	work    Work
	began   time.Time
}

// Held reports whether there is a slot that has not been left.
func (s *Slot) Held() bool { return s.limiter != nil }

// Leave gives the slot back, if it is held; not from two goroutines at once.
func (s *Slot) Leave() {
	l := s.limiter
	if l == nil {
		return
	}
	s.limiter = nil
	now := time.Now()
	l.mu.Lock()
	defer l.mu.Unlock()
	l.took[s.work.Priority].add(now.Sub(s.began), now)
	l.free++
	t := l.of(s.work.Tenant)
	t.working--
	l.tidy(s.work.Tenant, t)
	l.dispatch()
}

// giveUp ends a wait whose caller has gone or whose time is up. The answer may
// have come at the same moment; then it stands.
func (l *Limiter) giveUp(ctx context.Context, me *waiter) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.remove(me) {
		return <-me.answer
	}
	if errors.Is(ctx.Err(), context.DeadlineExceeded) {
		l.count(ctx, TooLate)
		return l.exhausted(me.Priority)
	}
	return ctx.Err()
}

// dispatch gives free slots to those who wait. Whose time is too short by now
// is refused: working for it would be for nobody.
func (l *Limiter) dispatch() {
	for l.free > 0 && l.waiting > 0 {
		next := l.next()
		l.remove(next)
		if l.tooLate(next, 0) {
			l.refuse(next, TooLate)
			continue
		}
		l.free--
		l.of(next.Tenant).working++
		next.answer <- nil
	}
}

// refuse answers a waiter that has been removed.
func (l *Limiter) refuse(w *waiter, why Outcome) {
	l.count(context.Background(), why)
	w.answer <- l.exhausted(w.Priority)
}

// tooLate reports whether a waiter with so many before it cannot be done by its
// deadline, going by how long the like of it took of late. It is asked only of
// work that has to wait: with a slot free there is nothing to lose, and one that
// is tried brings a fresh measurement.
func (l *Limiter) tooLate(w *waiter, before int) bool {
	if w.deadline.IsZero() {
		return false
	}
	work := l.took[w.Priority].median()
	return time.Until(w.deadline) < work+work*time.Duration(before)/time.Duration(l.slots)
}

// exhausted is the refusal. Callers refused together are sent back apart.
func (l *Limiter) exhausted(p Priority) error {
	drained := l.took[p].median() * time.Duration(1+l.waiting/l.slots)
	after := min(max(drained, soonest), latest)
	return &fault.Exhausted{
		Reason: fault.ReasonOverloaded, Sentence: "the service has more to do than it can; come again a little later",
		After: after + rand.N(after/2), // #nosec G404 -- jitter
	}
}
