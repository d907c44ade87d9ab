// Package window gives the engine its input: the snapshot of one trainee, from
// a bag when it is still true, from the store otherwise.
//
// The protocol is one sentence: every read asks the store for the present head
// and serves a bagged snapshot only when its head is equal. The store's head
// changes in the transaction of every write, so whatever a bag does (forgets,
// keeps old things, mixes things up in time) changes the hit rate and never the
// answer. Nothing is written to a bag on the write path.
package window

import (
	"context"
	"fmt"

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

// Counter hears how each read was served.
type Counter func(ctx context.Context, o Origin)

// Source reads snapshots.
type Source struct {
	store store.Snapshots
	bag   Bag
	count Counter
}

// NewSource returns a source over a store and a bag.
func NewSource(s store.Snapshots, bag Bag, count Counter) *Source {
	return &Source{store: s, bag: bag, count: count}
}

// Snapshot returns the trainee's snapshot with the window from first on. It
// contains every write that was acknowledged before the call. Its slices are
// shared: read only. store.ErrNotFound when there is no such trainee.
func (s *Source) Snapshot(ctx context.Context, sc store.Scope, first engine.Day) (store.Snapshot, Origin, error) {
	head, err := s.store.Head(ctx, sc)
	if err != nil {
		return store.Snapshot{}, FromStore, fmt.Errorf("probe head: %w", err)
	}
	origin := FromBag
	snap, ok := s.bag.Get(ctx, sc)
	if !ok || snap.Head != head || snap.Window.First > first {
		origin = FromStore
		if snap, err = s.store.Snapshot(ctx, sc, first); err != nil {
			return store.Snapshot{}, FromStore, fmt.Errorf("load snapshot: %w", err)
		}
		s.bag.Put(ctx, sc, snap)
	}
	s.count(ctx, origin)
	// The same days whichever way it came, so that the answer is the same too.
	if snap.Window.First < first {
		snap.Window = snap.Window.Between(first, max(first, snap.Window.End()))
	}
	return snap, origin, nil
}
