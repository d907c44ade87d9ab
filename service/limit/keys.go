package limit

import (
	"context"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/store"
)

// Keys bounds how many keys are looked up at once. A call has no tenant before
// its key is found, so it cannot be admitted before; this keeps a flood of calls
// that will be refused from taking the store's connections first.
type Keys struct {
	access.KeyFinder
	Limiter *Limiter
}

// Key implements access.KeyFinder.
func (k Keys) Key(ctx context.Context, id string) (store.Key, error) {
	slot, err := k.Limiter.Enter(ctx, Work{})
	if err != nil {
		return store.Key{}, err
	}
	defer slot.Leave()
	return k.KeyFinder.Key(ctx, id)
}
