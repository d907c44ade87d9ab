package window

import (
	"context"
	"log/slog"
	"time"

	"github.com/maypok86/otter/v2"

	"example.com/steelyard/service/store"
)

const (
	// maxAhead bounds how many windows are loaded ahead at once. Beyond it none
	// waits: whoever asks loads as ever.
	maxAhead = 8
	// longestAhead bounds how many days are loaded ahead: what a recommendation looks
	// back, and some. Who has asked for ten years once is not to have them loaded with
	// each write.
	longestAhead = 420
	// aheadTimeout bounds a load that nobody may be waiting for.
	aheadTimeout = 5 * time.Second
)

// ahead is where windows are loaded that nobody has asked for yet.
type ahead struct {
	slots chan struct{}   // one in use for each load, and all of them once closed
	ctx   context.Context // ends when it closes
	end   context.CancelFunc
	count func(context.Context)
	then  func(store.Scope, store.Snapshot) // may be nil
	log   *slog.Logger
	// unasked are those whose window was loaded ahead and who have not been asked
	// about since.
	unasked *otter.Cache[store.Scope, struct{}]
}

func newAhead() ahead {
	ctx, end := context.WithCancel(context.Background())
	return ahead{
		slots: make(chan struct{}, maxAhead), ctx: ctx, end: end, count: func(context.Context) {}, log: slog.New(slog.DiscardHandler),
		unasked: otter.Must(&otter.Options[store.Scope, struct{}]{MaximumSize: maxSeen}),
	}
}

// CountAhead has each load that is begun ahead counted.
func CountAhead(count func(context.Context)) Option {
	return func(s *Source) { s.ahead.count = count }
}

// Ahead has each window that was loaded ahead handed on, so that what is computed of
// it may be ready too. A trainee who is forgotten meanwhile is not handed on, and
// Forget waits for what is under way. A panic there is nobody's call: the log hears
// of it.
func Ahead(then func(store.Scope, store.Snapshot), log *slog.Logger) Option {
	return func(s *Source) { s.ahead.then, s.ahead.log = then, log }
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
	held, ok := s.held(s.ahead.ctx, sc)
	if !ok || !Precedes(held.Head, made) {
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
	of := flight{sc, made}
	l, begins := s.flights.join(of, max(held.Window.First, held.Window.End()-longestAhead))
	if !begins { // who wrote elsewhere and has asked already was quicker
		<-s.ahead.slots
		return
	}
	l.over = held.Head // who asks may be quicker yet, and have seen more
	s.ahead.unasked.Set(sc, struct{}{})
	s.ahead.count(s.ahead.ctx)
	go func() {
		defer func() { <-s.ahead.slots }()
		ctx, cancel := context.WithTimeout(s.ahead.ctx, aheadTimeout)
		defer cancel()
		s.carryOut(ctx, of, l, s.ahead.then)
	}()
}

// held returns what the bag has in the process.
func (s *Source) held(ctx context.Context, sc store.Scope) (store.Snapshot, bool) {
	if n, ok := s.bag.(Nearby); ok {
		return n.Near(ctx, sc)
	}
	return store.Snapshot{}, false
}

// holds reports whether the bag has the snapshot of a head in the process.
func (s *Source) holds(ctx context.Context, sc store.Scope, head store.Head) bool {
	held, ok := s.held(ctx, sc)
	return ok && held.Head == head
}

// asked notes that somebody has asked for a trainee's window.
func (a *ahead) asked(sc store.Scope) {
	if _, ok := a.unasked.GetIfPresent(sc); ok { // which is cheap where it is not so
		a.unasked.Invalidate(sc)
	}
}

// Precedes reports whether a head was the present one until the next was made.
func Precedes(head, next store.Head) bool {
	return head.Incarnation == next.Incarnation && head.Revision+1 == next.Revision
}

// Close ends what is loaded ahead and waits for it; nothing more is. Reads go on as
// ever. The context bounds the wait. To be called once.
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
