package window

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"example.com/steelyard/service/store"
)

// Heads is what a store has that can read the heads of many trainees in one
// statement. A Source over such a store lets concurrent reads share statements.
type Heads interface {
	// Heads returns the present heads, one a scope in the order of scopes, which
	// has no scope twice and at most 256. It sees every write acknowledged before
	// it was called. An error is of the statement as a whole.
	Heads(ctx context.Context, scopes []store.Scope) ([]HeadResult, error)
}

// HeadResult is one trainee's head, and whether there is such a trainee.
type HeadResult struct {
	Head  store.Head
	Found bool
}

const (
	// maxBatch bounds a statement.
	maxBatch = 256
	// maxStatements bounds how many are in flight at once.
	maxStatements = 2
	// statementTimeout bounds a statement, which no single caller's deadline does.
	statementTimeout = 5 * time.Second
)

// HeadBatcher reads heads for many callers at once. An idle one asks at once.
// While a statement is in flight, callers gather for the next, which goes when
// that one is back, or when it is full and only one is in flight.
//
// A caller joins only a batch that has not been sent: a statement in flight may
// have read before the caller's own write was acknowledged.
type HeadBatcher struct {
	store Heads

	mu       sync.Mutex
	waiting  []*headBatch // in order of arrival; only the last has room
	inFlight int
}

// NewHeadBatcher returns a batcher over a store.
func NewHeadBatcher(s Heads) *HeadBatcher { return &HeadBatcher{store: s} }

type headBatch struct {
	scopes  []store.Scope
	places  map[store.Scope]int
	results []HeadResult
	err     error
	done    chan struct{} // closed when results or err are there
}

// Head returns the present head, as store.Snapshots has it.
func (b *HeadBatcher) Head(ctx context.Context, sc store.Scope) (store.Head, error) {
	if err := ctx.Err(); err != nil {
		return store.Head{}, err
	}
	batch, place := b.join(sc)
	select {
	case <-batch.done:
	case <-ctx.Done():
		return store.Head{}, ctx.Err()
	}
	switch {
	case batch.err != nil:
		return store.Head{}, batch.err
	case !batch.results[place].Found:
		return store.Head{}, fmt.Errorf("read heads: %w", store.ErrNotFound)
	}
	return batch.results[place].Head, nil
}

// join takes a place in the batch that gathers, and sends what may be sent.
func (b *HeadBatcher) join(sc store.Scope) (*headBatch, int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	var batch *headBatch
	if n := len(b.waiting); n > 0 {
		batch = b.waiting[n-1]
	}
	place, has := 0, false
	if batch != nil {
		place, has = batch.places[sc]
	}
	if batch == nil || (!has && len(batch.scopes) == maxBatch) {
		batch = &headBatch{places: map[store.Scope]int{}, done: make(chan struct{})}
		b.waiting = append(b.waiting, batch)
	}
	if !has {
		place = len(batch.scopes)
		batch.places[sc] = place
		batch.scopes = append(batch.scopes, sc)
	}
	if b.inFlight == 0 || (b.inFlight < maxStatements && len(b.waiting[0].scopes) == maxBatch) {
		first := b.next()
		b.inFlight++
		go b.run(first)
	}
	return batch, place
}

// next takes the batch that waits longest; nobody joins it any more.
func (b *HeadBatcher) next() *headBatch {
	first := b.waiting[0]
	b.waiting = b.waiting[1:]
	return first
}

// run sends one batch after another until none waits.
func (b *HeadBatcher) run(batch *headBatch) {
	for batch != nil {
		b.send(batch)
		b.mu.Lock()
		batch = nil
		if len(b.waiting) > 0 {
			batch = b.next()
		} else {
			b.inFlight--
		}
		b.mu.Unlock()
	}
}

var errHeads = errors.New("read heads: the store did not answer for each")

func (b *HeadBatcher) send(batch *headBatch) {
	ctx, cancel := context.WithTimeout(context.Background(), statementTimeout)
	defer cancel()
	defer close(batch.done)
	// A panic would end the process here, where it would fail one call elsewhere.
	defer func() {
		if p := recover(); p != nil {
			batch.err = fmt.Errorf("read heads: panic: %v", p)
		}
	}()
	batch.results, batch.err = b.store.Heads(ctx, batch.scopes)
	switch {
	case batch.err != nil && ctx.Err() != nil:
		// No caller's own deadline: none of them may take it for that.
		batch.err = fmt.Errorf("read heads: %w: no answer in %s", store.ErrUnavailable, statementTimeout)
	case batch.err == nil && len(batch.results) != len(batch.scopes):
		batch.err = errHeads
	}
}
