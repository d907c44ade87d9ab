package window

import (
	"context"
	"time"

	"github.com/maypok86/otter/v2"

	"example.com/steelyard/service/store"
)

const (
	// maxAhead bounds how many windows are loaded ahead at once. Beyond it none
	// waits: whoever asks loads as ever.
	maxAhead = 8
	// aheadTimeout bounds a load that nobody may be waiting for.
	aheadTimeout = 5 * time.Second
)

// ahead is where windows are loaded that nobody has asked for yet.
type ahead struct {
	slots chan struct{}   // one in use for each load, and all of them once closed
	ctx   context.Context // ends when it closes
	end   context.CancelFunc
	count func(context.Context)
	// unasked are those whose window was loaded ahead and who have not been asked
	// about since.
	unasked *otter.Cache[store.Scope, struct{}]
}

func newAhead() ahead {
	ctx, end := context.WithCancel(context.Background())
	return ahead{
		slots: make(chan struct{}, maxAhead), ctx: ctx, end: end, count: func(context.Context) {},
		unasked: otter.Must(&otter.Options[store.Scope, struct{}]{MaximumSize: maxSeen}),
	}
}

// CountAhead has each load that is begun ahead counted.
func CountAhead(count func(context.Context)) Option {
	return func(s *Source) { s.ahead.count = count }
}

// Written tells of a write that has made a head and is committed, before it is
// acknowledged. To write and then to ask is the commonest pair of calls, and would
// find no window that is still true. So where the one in the process was true until
// this very write, and somebody has asked since the write before, the next is loaded
// while the answer is on its way. Of writes that follow each other with nobody asking,
// the first is the last for which that is done.
//
// It is a load as any other, begun for a head that was the present one: a caller that
// has read that head joins it, and nobody else does. It never waits.
func (s *Source) Written(sc store.Scope, made store.Head) {
	n, ok := s.bag.(Nearby)
	if !ok {
		return
	}
	held, ok := n.Near(s.ahead.ctx, sc)
	if !ok || !precedes(held.Head, made) {
		return
	}
	if _, unasked := s.ahead.unasked.GetIfPresent(sc); unasked {
		return
	}
	select {
	case s.ahead.slots <- struct{}{}:
	default:
		return
	}
	of := flight{sc, made, held.Window.First}
	l, begins := s.flights.join(of)
	if !begins { // who wrote elsewhere and has asked already was quicker
		<-s.ahead.slots
		return
	}
	s.ahead.unasked.Set(sc, struct{}{})
	s.ahead.count(s.ahead.ctx)
	go func() {
		defer func() { <-s.ahead.slots }()
		ctx, cancel := context.WithTimeout(s.ahead.ctx, aheadTimeout)
		defer cancel()
		s.carryOut(ctx, of, l)
	}()
}

// asked notes that somebody has asked for a trainee's window.
func (a *ahead) asked(sc store.Scope) {
	if _, ok := a.unasked.GetIfPresent(sc); ok { // which is cheap where it is not so
		a.unasked.Invalidate(sc)
	}
}

// precedes reports whether a head was the present one until the next was made.
func precedes(head, next store.Head) bool {
	return head.Incarnation == next.Incarnation && head.Revision+1 == next.Revision
}

// Close ends what is loaded ahead and waits for it; nothing more is. Reads go on as
// ever. The context bounds the wait.
func (s *Source) Close(ctx context.Context) error {
	s.ahead.end()
	for range cap(s.ahead.slots) {
		select {
		case s.ahead.slots <- struct{}{}:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}
