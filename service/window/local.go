package window

import (
	"context"

	"github.com/maypok86/otter/v2"

	"example.com/steelyard/service/store"
)

// Local is the in-process bag: the snapshots last used, up to a number of
// trainee-days.
type Local struct {
	cache *otter.Cache[store.Scope, store.Snapshot]
}

var (
	_ Bag    = (*Local)(nil)
	_ Nearby = (*Local)(nil)
)

// NewLocal returns a bag that holds up to maxDays trainee-days; a day takes
// about 200 bytes.
func NewLocal(maxDays uint64) (*Local, error) {
	c, err := otter.New(&otter.Options[store.Scope, store.Snapshot]{
		MaximumWeight: maxDays,
		Weigher: func(_ store.Scope, s store.Snapshot) uint32 {
			return uint32(len(s.Window.Days)) + 1
		},
	})
	if err != nil {
		return nil, err
	}
	return &Local{cache: c}, nil
}

// Get implements Bag.
func (l *Local) Get(_ context.Context, s store.Scope) (store.Snapshot, bool) {
	return l.cache.GetIfPresent(s)
}

// Near implements Nearby: all of it is.
func (l *Local) Near(ctx context.Context, s store.Scope) (store.Snapshot, bool) { return l.Get(ctx, s) }

// Forget drops what is held of a trainee: an erased one must not lie about,
// although nobody would be served it.
func (l *Local) Forget(s store.Scope) { l.cache.Invalidate(s) }

// Put implements Bag.
func (l *Local) Put(_ context.Context, s store.Scope, snap store.Snapshot) { l.cache.Set(s, snap) }
