// Package redisbag is a bag of snapshots in Redis, that several replicas share.
//
// Redis is not trusted with anything. What it holds is sealed and bound to its
// trainee, so a value that is old, foreign, exchanged or made up is at worst a
// snapshot of another head, which the window protocol never serves, and mostly
// no snapshot at all. No id and no health value lies in it in clear. When it is
// slow or away, a breaker leaves it alone for a while, and reads go to the store.
//
// Nothing is written when the log is: a read that had to go to the store offers
// what it got, and a few workers put that away behind it.
package redisbag

import (
	"context"
	"errors"
	"log/slog"
	"math/rand/v2"
	"sync"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/sony/gobreaker/v2"

	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
	"example.com/steelyard/service/window/packed"
)

// Event is what became of one use of Redis.
type Event uint8

// Events.
const (
	Hit        Event = iota // a snapshot was there; whether its head is the present one shows later
	Miss                    // nothing was there
	Rejected                // what was there did not open: damaged, foreign or made up
	GetFailed               // an error, or no answer within the budget
	GetSkipped              // not asked, since the breaker is open
	Filled                  // a snapshot was put away
	FillFailed
	FillSkipped // not sent, since the breaker is open
	FillDropped // the queue was full, the bag closed, or the snapshot too large
	Forgotten
	ForgetFailed
	Opened // the breaker opened
	Closed // the breaker closed
)

var eventNames = [...]string{
	Hit: "hit", Miss: "miss", Rejected: "rejected", GetFailed: "get_failed", GetSkipped: "get_skipped",
	Filled: "filled", FillFailed: "fill_failed", FillSkipped: "fill_skipped", FillDropped: "fill_dropped",
	Forgotten: "forgotten", ForgetFailed: "forget_failed", Opened: "opened", Closed: "closed",
}

// String returns the event's name in metrics.
func (e Event) String() string { return eventNames[e] }

// Counter hears every event. It must not block.
type Counter func(context.Context, Event)

// MinSecret is the least length of a secret, in bytes.
const MinSecret = 32

// Options are all optional but Secret.
type Options struct {
	// Secret, at least MinSecret bytes, the same on every replica. Names and
	// values in Redis come from it; with another secret the bag starts empty.
	Secret []byte
	// TTL is how long a value may lie, give or take a tenth. 24 h when zero. It
	// bounds how long sealed data outlives an erasure that Redis did not hear of.
	TTL time.Duration
	// Budget is how long a read waits, and how long a fill may take. 5 ms when zero.
	Budget time.Duration
	// Pause is how long Redis is left alone after it failed several times. 1 s when zero.
	Pause time.Duration

	Count Counter      // nil: not counted
	Log   *slog.Logger // hears when the breaker opens and closes; nil: silent
}

const (
	// tripAfter is how many failures in a row open the breaker.
	tripAfter = 5
	// maxQueued and fillers bound the memory and the work of fills.
	maxQueued = 512
	fillers   = 2
	// maxValue bounds what is kept of one trainee, in bytes.
	maxValue = 256 << 10
	// forgetBudget is longer than a read's: an erasure is rare, and nobody
	// should find the data afterwards.
	forgetBudget = 250 * time.Millisecond
)

// Bag implements window.Bag.
type Bag struct {
	client  redis.UniversalClient
	sealer  sealer
	opt     Options
	breaker *gobreaker.CircuitBreaker[[]byte]

	fills    chan fill
	forgets  window.Forgets
	stopping chan struct{}
	stopOnce sync.Once
	working  sync.WaitGroup
	life     context.Context // of the fills
	endLife  context.CancelFunc
}

var _ window.Bag = (*Bag)(nil)

type fill struct {
	scope     store.Scope
	snap      store.Snapshot
	forgotten uint64 // how often somebody had been forgotten when it was put
}

// New returns a bag over a client, which it closes when it is closed. The
// client is best made by Client, which sets what the bag rests on.
func New(client redis.UniversalClient, opt Options) (*Bag, error) {
	sealer, err := newSealer(opt.Secret)
	if err != nil {
		return nil, err
	}
	opt.Secret = nil // the derived keys are all that is needed
	if opt.TTL < 0 || opt.Budget < 0 || opt.Pause < 0 {
		return nil, errors.New("redis bag: a duration is negative")
	}
	def := func(d *time.Duration, v time.Duration) {
		if *d == 0 {
			*d = v
		}
	}
	def(&opt.TTL, 24*time.Hour)
	def(&opt.Budget, 5*time.Millisecond)
	def(&opt.Pause, time.Second)
	if opt.Count == nil {
		opt.Count = func(context.Context, Event) {}
	}
	if opt.Log == nil {
		opt.Log = slog.New(slog.DiscardHandler)
	}
	b := &Bag{client: client, sealer: sealer, opt: opt, fills: make(chan fill, maxQueued), stopping: make(chan struct{})}
	b.life, b.endLife = context.WithCancel(context.Background())
	b.breaker = gobreaker.NewCircuitBreaker[[]byte](gobreaker.Settings{
		Timeout:       opt.Pause,
		ReadyToTrip:   func(c gobreaker.Counts) bool { return c.ConsecutiveFailures >= tripAfter },
		OnStateChange: b.turned,
		IsSuccessful:  func(err error) bool { return err == nil || errors.Is(err, redis.Nil) },
		IsExcluded:    func(err error) bool { return errors.Is(err, errGaveUp) },
	})
	b.working.Add(fillers)
	for range fillers {
		go b.work()
	}
	return b, nil
}

// errGaveUp says that the caller left: nothing is learnt about Redis.
var errGaveUp = errors.New("redis bag: the caller gave up")

func (b *Bag) turned(_ string, _, to gobreaker.State) {
	switch to {
	case gobreaker.StateOpen:
		b.opt.Count(b.life, Opened)
		b.opt.Log.Warn("window bag: Redis does not answer; windows come from the store", "pause", b.opt.Pause)
	case gobreaker.StateClosed:
		b.opt.Count(b.life, Closed)
		b.opt.Log.Info("window bag: Redis answers again")
	}
}

// Get implements window.Bag. It waits no longer than the budget.
func (b *Bag) Get(ctx context.Context, s store.Scope) (store.Snapshot, bool) {
	value, err := b.breaker.Execute(func() ([]byte, error) {
		asking, cancel := context.WithTimeout(ctx, b.opt.Budget)
		defer cancel()
		value, err := b.client.Get(asking, b.sealer.name(s)).Bytes()
		if err != nil && !errors.Is(err, redis.Nil) && ctx.Err() != nil {
			err = errGaveUp
		}
		return value, err
	})
	var snap store.Snapshot
	event := Hit
	switch {
	case err == nil:
		if snap, err = b.open(s, value); err != nil {
			event = Rejected
		}
	case errors.Is(err, redis.Nil):
		event = Miss
	case isOpen(err):
		event = GetSkipped
	default:
		event = GetFailed
	}
	b.opt.Count(ctx, event)
	return snap, event == Hit
}

func (b *Bag) open(s store.Scope, value []byte) (store.Snapshot, error) {
	plain, err := b.sealer.open(s, value)
	if err != nil {
		return store.Snapshot{}, err
	}
	return packed.Decode(plain)
}

// Put implements window.Bag. It never waits: what finds no place is dropped.
func (b *Bag) Put(ctx context.Context, s store.Scope, snap store.Snapshot) {
	select {
	case <-b.stopping:
		b.opt.Count(ctx, FillDropped)
		return
	default:
	}
	if b.breaker.State() == gobreaker.StateOpen {
		b.opt.Count(ctx, FillSkipped)
		return
	}
	select {
	case b.fills <- fill{s, snap, b.forgets.Count()}:
	default:
		b.opt.Count(ctx, FillDropped)
	}
}

// work puts snapshots away until the bag is closed and the queue is empty.
func (b *Bag) work() {
	defer b.working.Done()
	for {
		select {
		case f := <-b.fills:
			b.unlessForgotten(f)
		case <-b.stopping:
			for {
				select {
				case f := <-b.fills:
					b.unlessForgotten(f)
				default:
					return
				}
			}
		}
	}
}

// unlessForgotten fills, unless somebody was forgotten since: it may have been this one.
func (b *Bag) unlessForgotten(f fill) {
	event := FillDropped
	b.forgets.Unless(f.forgotten, func() { event = b.fill(f) })
	b.opt.Count(b.life, event)
}

func (b *Bag) fill(f fill) Event {
	value, err := packed.Append(nil, f.snap)
	if err != nil || len(value) > maxValue {
		return FillDropped
	}
	value = b.sealer.seal(f.scope, value)
	ttl := time.Duration(float64(b.opt.TTL) * (0.9 + 0.2*rand.Float64())) // #nosec G404 -- so that not all end at once
	refused := false
	_, err = b.breaker.Execute(func() ([]byte, error) {
		ctx, cancel := context.WithTimeout(b.life, b.opt.Budget)
		defer cancel()
		err := b.client.Set(ctx, b.sealer.name(f.scope), value, ttl).Err()
		// A Redis that is full refuses to write and can be read all the same.
		if refused = isReply(err); refused {
			return nil, nil
		}
		if err != nil && b.life.Err() != nil {
			err = errGaveUp
		}
		return nil, err
	})
	switch {
	case isOpen(err):
		return FillSkipped
	case err != nil || refused:
		return FillFailed
	}
	return Filled
}

// Forget removes what is held of a trainee, after it was erased. It is a best
// effort for privacy: nothing that is left behind could be served, it would lie
// sealed until its time is up. What waits to be put away comes no more; another
// replica may still put away what it has read before.
func (b *Bag) Forget(ctx context.Context, s store.Scope) {
	ctx, cancel := context.WithTimeout(ctx, forgetBudget)
	defer cancel()
	event := Forgotten
	// First, so that no fill that is under way or waits comes after it.
	b.forgets.Forget(func() {})
	if err := b.client.Del(ctx, b.sealer.name(s)).Err(); err != nil { // whatever the breaker says
		event = ForgetFailed
	}
	b.opt.Count(ctx, event)
}

// Close puts away what is queued, as long as ctx lasts, and closes the client.
// The bag may still be asked afterwards, and holds nothing.
func (b *Bag) Close(ctx context.Context) error {
	b.stopOnce.Do(func() { close(b.stopping) })
	done := make(chan struct{})
	go func() {
		b.working.Wait()
		close(done)
	}()
	var err error
	select {
	case <-done:
	case <-ctx.Done():
		err = ctx.Err()
		b.endLife() // the fill in flight ends, and those behind it fail at once
		<-done
	}
	b.endLife()
	return errors.Join(err, b.client.Close())
}

func isOpen(err error) bool {
	return errors.Is(err, gobreaker.ErrOpenState) || errors.Is(err, gobreaker.ErrTooManyRequests)
}

// isReply reports whether Redis answered, with an error.
func isReply(err error) bool {
	var reply redis.Error
	return errors.As(err, &reply) && !errors.Is(err, redis.Nil)
}
