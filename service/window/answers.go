package window

import (
	"github.com/maypok86/otter/v2"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// Label names what an answer was computed from. The engine is a pure function of
// snapshot, plan and day, and the head stands for the first two: it changes with
// the log, the profile, the zone and each plan.
type Label struct {
	Head store.Head
	Plan string // id
	AsOf engine.Day
}

// Answers holds the last answer that was computed of each trainee. As with a
// snapshot in a bag, one is given back only for an equal label, whose head the
// caller has read of a Source.
type Answers[A any] struct {
	cache *otter.Cache[store.Scope, labelled[A]]
}

type labelled[A any] struct {
	label  Label
	answer A
}

// NewAnswers returns one that holds up to maxBytes, as size tells of each.
func NewAnswers[A any](maxBytes uint64, size func(A) uint32) (*Answers[A], error) {
	c, err := otter.New(&otter.Options[store.Scope, labelled[A]]{
		MaximumWeight: maxBytes,
		Weigher:       func(_ store.Scope, l labelled[A]) uint32 { return size(l.answer) },
	})
	if err != nil {
		return nil, err
	}
	return &Answers[A]{cache: c}, nil
}

// Get returns the answer of a label, which is shared: read only.
func (a *Answers[A]) Get(s store.Scope, l Label) (answer A, ok bool) {
	if held, ok := a.cache.GetIfPresent(s); ok && held.label == l {
		return held.answer, true
	}
	return answer, false
}

// Last returns the label of the trainee's last answer.
func (a *Answers[A]) Last(s store.Scope) (l Label, ok bool) {
	held, ok := a.cache.GetIfPresent(s)
	return held.label, ok
}

// Put keeps an answer in place of the trainee's last.
func (a *Answers[A]) Put(s store.Scope, l Label, answer A) { a.cache.Set(s, labelled[A]{l, answer}) }

// Forget drops what is held of a trainee, who was erased.
func (a *Answers[A]) Forget(s store.Scope) { a.cache.Invalidate(s) }
