package phases

import (
	"context"

	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// Memo holds computed answers, which are asked for more often than logs change.
// What it holds is handed out as it is: nothing may write to it.
type Memo struct {
	recommendations *window.Answers[kept[*pb.Recommendation]]
	forecasts       *window.Answers[kept[*pb.ForecastResponse]]
	forgets         window.Forgets
}

// kept is an answer, and it again with its encoded forms.
type kept[M proto.Message] struct {
	answer  M
	encoded *call.Encoded
}

// NewMemo returns a memo of up to maxBytes.
func NewMemo(maxBytes uint64) (*Memo, error) {
	recommendations, err := window.NewAnswers(maxBytes/2, sizeOf[*pb.Recommendation])
	if err != nil {
		return nil, err
	}
	forecasts, err := window.NewAnswers(maxBytes/2, sizeOf[*pb.ForecastResponse])
	return &Memo{recommendations: recommendations, forecasts: forecasts}, err
}

// Forget drops what is held of a trainee, who was erased.
func (m *Memo) Forget(s store.Scope) {
	m.forgets.Forget(func() {
		m.recommendations.Forget(s)
		m.forecasts.Forget(s)
	})
}

// inMemory is about how many times its encoded size a message takes, and asJSON
// how many times its JSON takes, by measurement; the encoded form itself comes
// beside. A label, a place in the memo and what makes the forms take up to
// labelBytes.
const (
	inMemory   = 3
	asJSON     = 3
	labelBytes = 800
)

func sizeOf[M proto.Message](k kept[M]) uint32 {
	return uint32((inMemory+asJSON+1)*proto.Size(k.answer) + labelBytes)
}

// label says what the answer rests on.
func (p present) label() window.Label {
	return window.Label{Head: p.Snapshot.Head, Plan: p.plan.ID, AsOf: p.AsOf}
}

// held is what answers hold for this, or what compute makes. An answer says where
// its window came from, so only those of a bag are held: what was read of the store
// is new anyway.
func held[M proto.Message](ctx context.Context, m *Memo, answers *window.Answers[kept[M]], sc store.Scope, p present, compute func() M) M {
	if p.Origin != window.FromBag {
		return compute()
	}
	k, ok := answers.Get(sc, p.label())
	if !ok {
		k = keep(m, answers, sc, p, compute())
	}
	call.TellHeld(ctx, k.encoded)
	return k.answer
}

// keep holds an answer, unless somebody was erased since its reading began.
func keep[M proto.Message](m *Memo, answers *window.Answers[kept[M]], sc store.Scope, p present, out M) kept[M] {
	k := kept[M]{out, call.NewEncoded(out)}
	m.forgets.Unless(p.forgotten, func() { answers.Put(sc, p.label(), k) })
	return k
}

// Renew computes a recommendation again that rested on the state before, of what was
// loaded ahead because a write has outdated it, and reports whether there was one. A
// forecast takes too long to be made for nobody.
func (m *Memo) Renew(sc store.Scope, snap store.Snapshot) bool {
	last, ok := m.recommendations.Last(sc)
	if !ok || !window.Precedes(last.Head, snap.Head) || snap.Plan == nil || snap.Plan.ID != last.Plan {
		return false
	}
	first := last.AsOf - rollingDays
	if snap.Window.First > first {
		return false
	}
	snap.Window = snap.Window.Between(first, snap.Window.End())
	p := present{call.Present{Snapshot: snap, Origin: window.FromBag, AsOf: last.AsOf}, *snap.Plan, m.forgets.Count()}
	keep(m, m.recommendations, sc, p, recommendation(sc.Trainee, p))
	return true
}
