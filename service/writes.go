package service

import (
	"context"

	"example.com/steelyard/service/store"
)

// writes is a store that tells of each head that an update has made, once it is
// committed.
type writes struct {
	store.Store
	made func(store.Scope, store.Head)
}

// Update implements store.Writes. A replay makes no head; where a run was undone
// before one turned out, what is told of is a head that the other call has made.
func (w writes) Update(ctx context.Context, s store.Scope, once store.Once, write store.Write) ([]byte, error) {
	var made store.Head
	encoded, err := w.Store.Update(ctx, s, once, func(tx store.Tx) (store.Answer, error) {
		answer, err := write(tx)
		if err != nil {
			return nil, err
		}
		return func(h store.Head) ([]byte, error) {
			made = h // not yet: it may be undone, and made again by another run
			return answer(h)
		}, nil
	})
	if err == nil && made != (store.Head{}) {
		w.made(s, made)
	}
	return encoded, err
}
