package access

import (
	"context"
	"fmt"
	"time"

	"github.com/maypok86/otter/v2"
	"golang.org/x/sync/singleflight"

	"example.com/steelyard/service/store"
)

// MaxKeyAge is how long a key may be used before it is read anew: so long a
// revoked one may go on working.
const MaxKeyAge = 2 * time.Second

// rememberedKeys bounds how many keys are held.
const rememberedKeys = 10_000

// Remembered is a KeyFinder that holds a key that was found for MaxKeyAge,
// counted from when its reading began. What is held is what the store has, never
// a secret. That there is no such key is not held: it may be made the next moment.
type Remembered struct {
	keys  KeyFinder
	now   func() time.Time
	held  *otter.Cache[string, heldKey]
	reads singleflight.Group
}

type heldKey struct {
	store.Key
	read time.Time
}

// NewRemembered remembers what keys finds.
func NewRemembered(keys KeyFinder, now func() time.Time) (*Remembered, error) {
	held, err := otter.New(&otter.Options[string, heldKey]{MaximumSize: rememberedKeys})
	if err != nil {
		return nil, fmt.Errorf("cache of keys: %w", err)
	}
	return &Remembered{keys: keys, now: now, held: held}, nil
}

// Forget lets go of a key that has ended, so that calls begun after this are
// refused. Other processes hold theirs for up to MaxKeyAge.
func (r *Remembered) Forget(id string) { r.held.Invalidate(id) }

// ForgetAll lets go of all keys, which an erased trainee's may be among.
func (r *Remembered) ForgetAll() { r.held.InvalidateAll() }

// Key implements KeyFinder. Calls that miss the same key together share one
// read, and each waits no longer than its own context. A read that takes longer
// than MaxKeyAge is given up: what it found would be too old to be used.
func (r *Remembered) Key(ctx context.Context, id string) (store.Key, error) {
	began := r.now()
	if k, ok := r.held.GetIfPresent(id); ok && began.Sub(k.read) < MaxKeyAge {
		return k.Key, nil
	}
	read := r.reads.DoChan(id, func() (_ any, err error) {
		defer func() { // singleflight ends the process on a panic
			if v := recover(); v != nil {
				err = fmt.Errorf("panic: %v", v)
			}
		}()
		// Others wait for it too: that the first of them has gone must not end it.
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), MaxKeyAge)
		defer cancel()
		k, err := r.keys.Key(ctx, id)
		if err == nil {
			r.held.Set(id, heldKey{k, began})
		} else if ctx.Err() != nil {
			err = fmt.Errorf("%w: the key could not be read in time", store.ErrUnavailable)
		}
		return k, err
	})
	select {
	case got := <-read:
		k, _ := got.Val.(store.Key)
		return k, got.Err
	case <-ctx.Done():
		return store.Key{}, ctx.Err()
	}
}
