package window

import (
	"context"
	"reflect"
	"sync/atomic"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// checker recomputes some of what a bag gave. By the protocol nothing can
// differ; a bag that mixes trainees up, or a store that forgets to bump a head,
// would show here before anyone noticed the advice that came of it.
type checker struct {
	every    uint64 // one in so many hits; 0: none
	hits     atomic.Uint64
	mismatch func(context.Context)
}

// due reports whether this hit is one to check.
func (c *checker) due() bool { return c.every > 0 && c.hits.Add(1)%c.every == 0 }

// differs compares the window from first on with what the store gives, and
// returns that when it differs. There is no verdict, which is false, when the
// head has moved or the store did not answer.
func (c *checker) differs(ctx context.Context, s store.Snapshots, sc store.Scope, bagged store.Snapshot, first engine.Day) (truth store.Snapshot, differs bool) {
	truth, err := s.Snapshot(ctx, sc, first)
	if err != nil || truth.Head != bagged.Head || same(from(bagged, first), truth) {
		return store.Snapshot{}, false
	}
	if c.mismatch != nil {
		c.mismatch(ctx)
	}
	return truth, true
}

// same compares by content: an instant in another zone is the same, and so is
// no slice and an empty one.
func same(a, b store.Snapshot) bool { return reflect.DeepEqual(plainly(a), plainly(b)) }

// plainly returns the snapshot in a form that is equal when the content is.
func plainly(s store.Snapshot) store.Snapshot {
	s.Trainee.Created, s.Trainee.Updated = instant(s.Trainee.Created), instant(s.Trainee.Updated)
	if s.Plan != nil {
		p := *s.Plan
		p.Created, p.Updated = instant(p.Created), instant(p.Updated)
		p.Decisions = some(p.Decisions)
		s.Plan = &p
	}
	w := &s.Window
	w.Days, w.Lifts, w.BodyFat, w.Tapes = some(w.Days), some(w.Lifts), some(w.BodyFat), some(w.Tapes)
	return s
}

func instant(t time.Time) time.Time { return time.Unix(t.Unix(), int64(t.Nanosecond())).UTC() }

func some[T any](s []T) []T {
	if len(s) == 0 {
		return nil
	}
	return s
}
