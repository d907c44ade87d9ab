package chain

import (
	"context"
	"sync"
	"time"

	"google.golang.org/grpc"
)

func (c Chain) deadlineUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	latest := time.Now().Add(c.RequestTimeout)
	if at, ok := ctx.Deadline(); ok && !at.After(latest) { // the caller's own is sooner
		return handler(ctx, req)
	}
	ours := &withDeadline{Context: ctx, at: latest}
	defer ours.end()
	return handler(ours, req)
}

// withDeadline is what context.WithDeadline returns, which it makes only when somebody
// waits for the end: for the many calls that wait for nothing, its timer and its
// place in the connection's context would be the dearest part of the chain.
type withDeadline struct {
	context.Context
	at time.Time

	mu     sync.Mutex
	real   context.Context // nil: nobody has waited yet
	cancel context.CancelFunc
	ended  bool // the call is over
}

// Deadline implements context.Context.
func (d *withDeadline) Deadline() (time.Time, bool) { return d.at, true }

// Done implements context.Context.
func (d *withDeadline) Done() <-chan struct{} {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.made().Done()
}

// Err implements context.Context.
func (d *withDeadline) Err() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.real == nil && !d.ended && d.Context.Err() == nil && time.Now().Before(d.at) {
		return nil
	}
	return d.made().Err() // which stays what it is
}

// Value implements context.Context. The context package looks for its own context
// by it, so as to have its children without a goroutine each.
func (d *withDeadline) Value(key any) any {
	d.mu.Lock()
	from := d.real
	d.mu.Unlock()
	if from == nil {
		from = d.Context
	}
	return from.Value(key)
}

// made returns the real context. d.mu is held.
func (d *withDeadline) made() context.Context {
	if d.real == nil {
		d.real, d.cancel = context.WithDeadline(d.Context, d.at)
		if d.ended {
			d.cancel()
		}
	}
	return d.real
}

// end ends the context, as the cancel function of context.WithDeadline does.
func (d *withDeadline) end() {
	d.mu.Lock()
	d.ended = true
	cancel := d.cancel
	d.mu.Unlock()
	if cancel != nil {
		cancel()
	}
}
