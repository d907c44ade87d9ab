// Package window gives the engine its input: the snapshot of one trainee, from
// a bag when it is still true, from the store otherwise.
//
// The protocol is one sentence: every read asks the store for the present head
// and serves a bagged snapshot only when its head is equal. The store's head
// changes in the transaction of every write, so whatever a bag does (forgets,
// keeps old things, mixes things up in time) changes the hit rate and never the
// answer. Nothing is written to a bag on the write path; that a write has made a
// head may begin a load, as a reader would who came right after it.
//
// Reads share work under two rules that keep this true. A caller joins a batch
// of heads only before it is sent, and a load only when that was begun for the
// very head which the caller has read itself: what it gets was read of the
// store no earlier than it could have read it.
//
// A caller that holds a head from an earlier answer may be content with it:
// AtLeast takes one that was present a short while ago for the present one.
package window

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// Origin says where a snapshot came from.
type Origin uint8

// Origins.
const (
	FromStore Origin = iota
	FromBag
)

// Bag is an untrusted container of snapshots: it may lose them, and may return
// one of any age, but never one of another scope. Implementations must not
// block longer than a few milliseconds.
type Bag interface {
	Get(ctx context.Context, s store.Scope) (store.Snapshot, bool)
	Put(ctx context.Context, s store.Scope, snap store.Snapshot)
}

// Nearby is a Bag that has a part in the process, which answers without a wait.
type Nearby interface {
	// Near is Get of that part alone.
	Near(ctx context.Context, s store.Scope) (store.Snapshot, bool)
}

// Counter hears how each read was served.
type Counter func(ctx context.Context, o Origin)

// Source reads snapshots.
type Source struct {
	store   store.Snapshots
	head    func(context.Context, store.Scope) (store.Head, error)
	bag     Bag
	count   Counter
	overlap bool
	check   checker
	flights flights
	seen    sightings
	ahead   ahead
	forgets Forgets
}

// Option changes a Source.
type Option func(*Source)

// Overlapped asks the bag while the head is on its way, which is worth its
// goroutine when the bag is over a network. Of one that is Nearby, what is near
// comes before.
func Overlapped() Option { return func(s *Source) { s.overlap = true } }

// Checked recomputes one in every so many bag hits from the store. Where the two
// differ at the same head, mismatch is told and the store's is served; it must
// never happen. 0 checks none.
func Checked(every uint, mismatch func(context.Context)) Option {
	return func(s *Source) { s.check.every, s.check.mismatch = uint64(every), mismatch }
}

// NewSource returns a source over a store and a bag. Of a store that has Heads,
// concurrent reads share statements.
func NewSource(s store.Snapshots, bag Bag, count Counter, options ...Option) *Source {
	src := &Source{store: s, head: s.Head, bag: bag, count: count, seen: newSightings(), ahead: newAhead()}
	if heads, ok := s.(Heads); ok {
		src.head = NewHeadBatcher(heads).Head
	}
	for _, o := range options {
		o(src)
	}
	return src
}

// Snapshot returns the trainee's snapshot with the window from first on. It
// contains every write that was acknowledged before the call. Its slices are
// shared: read only. store.ErrNotFound when there is no such trainee.
func (s *Source) Snapshot(ctx context.Context, sc store.Scope, first engine.Day) (store.Snapshot, Origin, error) {
	s.ahead.asked(sc)
	snap, bagged, head, err := s.ask(ctx, sc)
	if err != nil {
		if errors.Is(err, store.ErrNotFound) {
			s.Forget(sc)
		}
		return store.Snapshot{}, FromStore, fmt.Errorf("probe head: %w", err)
	}
	origin := FromStore
	switch {
	case bagged && serves(snap.Head, head) && snap.Window.First <= first:
		origin = FromBag
		if s.check.due() {
			forgotten := s.forgets.Count()
			if truth, differs := s.check.differs(ctx, s.store, sc, snap, first); differs {
				snap, origin = truth, FromStore
				s.forgets.Unless(forgotten, func() { s.bag.Put(ctx, sc, truth) })
			}
		}
	default:
		if snap, err = s.load(ctx, sc, head, first); err != nil {
			return store.Snapshot{}, FromStore, fmt.Errorf("load snapshot: %w", err)
		}
	}
	s.count(ctx, origin)
	return from(snap, first), origin, nil
}

// serves is the rule of the protocol: labels are compared for equality. A later
// one is no better, for an erased trainee's counter may have been higher.
func serves(bagged, present store.Head) bool { return bagged == present }

// from cuts the window, so that whichever way it came it has the same days.
func from(snap store.Snapshot, first engine.Day) store.Snapshot {
	if snap.Window.First < first {
		snap.Window = snap.Window.Between(first, snap.Window.End())
	}
	return snap
}

// ask returns what the bag has and what the present head is.
func (s *Source) ask(ctx context.Context, sc store.Scope) (snap store.Snapshot, bagged bool, head store.Head, err error) {
	if snap, bagged = s.near(ctx, sc); bagged {
		head, err = s.head(ctx, sc)
		return snap, true, head, err
	}
	if !s.overlap {
		if head, err = s.head(ctx, sc); err == nil {
			snap, bagged = s.bag.Get(ctx, sc)
		}
		return snap, bagged, head, err
	}
	asking, cancel := context.WithCancel(ctx)
	defer cancel() // a bag that is asked in vain is let go
	type answer struct {
		snap store.Snapshot
		ok   bool
	}
	answers := make(chan answer, 1)
	go func() {
		snap, ok := s.bag.Get(asking, sc)
		answers <- answer{snap, ok}
	}()
	if head, err = s.head(ctx, sc); err != nil {
		return snap, false, head, err
	}
	a := <-answers
	return a.snap, a.ok, head, nil
}

// near returns what a bag to be overlapped has in the process.
func (s *Source) near(ctx context.Context, sc store.Scope) (store.Snapshot, bool) {
	if s.overlap {
		return s.held(ctx, sc)
	}
	return store.Snapshot{}, false
}

// load reads the store, once for all callers that have read the same head. The
// load of another head may have begun before a write that this caller must see.
func (s *Source) load(ctx context.Context, sc store.Scope, head store.Head, first engine.Day) (store.Snapshot, error) {
	of := flight{sc, head}
	for {
		l, begins := s.flights.join(of, first)
		if begins {
			s.carryOut(ctx, of, l, nil)
			return l.snap, l.err
		}
		select {
		case <-l.done:
			// The one that began it left: that says nothing to the others.
			if isContext(l.err) && ctx.Err() == nil {
				continue
			}
			return l.snap, l.err
		case <-ctx.Done():
			return store.Snapshot{}, ctx.Err()
		}
	}
}

// carryOut reads the store and tells all who have joined, whatever becomes of it.
// then, where there is one, runs after they were told.
func (s *Source) carryOut(ctx context.Context, of flight, l *loading, then func(store.Scope, store.Snapshot)) {
	defer s.flights.end(of, l)
	defer func() {
		p := recover()
		switch {
		case p != nil && l.told:
			s.ahead.log.Error("panic in what is made ahead", "panic", p, "stack", string(debug.Stack()))
		case p != nil: // of one call; those who joined are others
			l.snap, l.err = store.Snapshot{}, fmt.Errorf("panic: %v", p)
		}
	}()
	began, forgotten := time.Now(), s.forgets.Count()
	if l.snap, l.err = s.store.Snapshot(ctx, of.scope, l.first); l.err != nil {
		return
	}
	s.forgets.Unless(forgotten, func() {
		if l.over == (store.Head{}) || s.holds(ctx, of.scope, l.over) {
			s.bag.Put(ctx, of.scope, l.snap)
		}
		s.seen.note(of.scope, l.snap.Head, began)
	})
	if then != nil {
		l.tell()
		s.forgets.Unless(forgotten, func() { then(of.scope, l.snap) })
	}
}

func isContext(err error) bool {
	return errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded)
}
