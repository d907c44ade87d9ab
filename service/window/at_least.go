package window

import (
	"context"
	"time"

	"github.com/maypok86/otter/v2"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

const (
	// SeenFor bounds how old a window of AtLeast may be. An erasure that another
	// replica carried out is not heard of here: it bounds that, too.
	SeenFor = time.Minute
	// maxSeen bounds of how many trainees a head is remembered.
	maxSeen = 100_000
)

// AtLeast is Snapshot for a caller that is content with the state of a token, a
// head that it holds from an answer, or with a later one. Where this process has
// read a head that reaches the token within SeenFor, that head stands in for the
// present one: a snapshot in the bag that equals it is served and the store is
// not asked. Otherwise, and for a token of another incarnation, it is Snapshot.
//
// What it serves was the trainee's present state at some time within SeenFor.
// What was written since may be missing.
func (s *Source) AtLeast(ctx context.Context, sc store.Scope, first engine.Day, token store.Head) (store.Snapshot, Origin, error) {
	if seen, ok := s.seen.of(sc); ok && reaches(seen, token) {
		if snap, ok := s.bag.Get(ctx, sc); ok && serves(snap.Head, seen) && snap.Window.First <= first {
			s.ahead.asked(sc)
			s.count(ctx, FromBag)
			return from(snap, first), FromBag, nil
		}
	}
	began, forgotten := time.Now(), s.forgets.Count()
	snap, origin, err := s.Snapshot(ctx, sc, first)
	if err == nil {
		s.forgets.Unless(forgotten, func() { s.seen.note(sc, snap.Head, began) })
	}
	return snap, origin, err
}

// Forget drops what the source itself knows of a trainee, after it was erased. Of
// what is being loaded meanwhile nothing is kept: what there is to be dropped from
// the bag is there once Forget has returned.
func (s *Source) Forget(sc store.Scope) {
	s.forgets.Forget(func() {
		s.seen.forget(sc)
		s.ahead.asked(sc)
	})
}

// reaches is the rule for a token: a later revision will do, of the same
// incarnation. The counter of another one says nothing about this one.
func reaches(seen, token store.Head) bool {
	return seen.Incarnation == token.Incarnation && seen.Revision >= token.Revision
}

// sightings are heads that were the present ones a short while ago.
type sightings struct {
	cache *otter.Cache[store.Scope, sighting]
}

type sighting struct {
	head store.Head
	at   time.Time // before the head was read
}

func newSightings() sightings {
	return sightings{otter.Must(&otter.Options[store.Scope, sighting]{MaximumSize: maxSeen})}
}

func (s sightings) note(sc store.Scope, h store.Head, at time.Time) {
	s.cache.Set(sc, sighting{h, at})
}

func (s sightings) of(sc store.Scope) (store.Head, bool) {
	seen, ok := s.cache.GetIfPresent(sc)
	return seen.head, ok && time.Since(seen.at) < SeenFor
}

func (s sightings) forget(sc store.Scope) { s.cache.Invalidate(sc) }
