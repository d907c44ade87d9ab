// Package tiered puts a near bag in front of a far one.
package tiered

import (
	"context"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// Bag asks the near bag, then the far one. A replica that was not the one to see
// a write has an old snapshot near, which the window protocol does not serve:
// its next read goes to the store, and what that gives goes into both.
type Bag struct {
	near, far window.Bag
	forgets   window.Forgets
}

var (
	_ window.Bag    = (*Bag)(nil)
	_ window.Nearby = (*Bag)(nil)
)

// New returns a bag of the two.
func New(near, far window.Bag) *Bag { return &Bag{near: near, far: far} }

// Get implements window.Bag. What only the far bag has, the near one gets too.
func (b *Bag) Get(ctx context.Context, s store.Scope) (store.Snapshot, bool) {
	if snap, ok := b.near.Get(ctx, s); ok {
		return snap, true
	}
	forgotten := b.forgets.Count()
	snap, ok := b.far.Get(ctx, s)
	if ok {
		b.forgets.Unless(forgotten, func() { b.near.Put(ctx, s, snap) })
	}
	return snap, ok
}

// Near implements window.Nearby.
func (b *Bag) Near(ctx context.Context, s store.Scope) (store.Snapshot, bool) {
	return b.near.Get(ctx, s)
}

// Forget has drop drop a trainee from the near bag. What is on its way there from the
// far one comes no more.
func (b *Bag) Forget(drop func()) { b.forgets.Forget(drop) }

// Put implements window.Bag.
func (b *Bag) Put(ctx context.Context, s store.Scope, snap store.Snapshot) {
	b.near.Put(ctx, s, snap)
	b.far.Put(ctx, s, snap)
}
