package phases

import (
	"runtime"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// known is what a recommendation is computed from after so many days of a log,
// every n-th of them logged.
func known(days, every int) present {
	first := engine.Day(20000)
	w := engine.Window{First: first, Days: make([]engine.WindowDay, days)}
	for i := range w.Days {
		if i%every == 0 {
			w.Days[i].WeightKg, w.Days[i].Readings = engine.Some(90-0.08*float64(i)+0.4*float64(i%3)), 1
			w.Days[i].IntakeKcal = engine.Some(2300)
		}
		if i%29 == 28 {
			w.Days[i].WeightKg = engine.Some(45) // is refused
		}
	}
	plan := store.Plan{Plan: engine.Plan{ID: "p", Start: first + 5, GoalWeightKg: engine.Some(78)}}
	trainee := store.Trainee{Profile: engine.Profile{Sex: engine.Male, BirthDate: engine.SomeDay(7000), HeightCm: engine.Some(181)}}
	p := present{plan: plan}
	p.Snapshot = store.Snapshot{Head: store.Head{Incarnation: "aa", Revision: 7}, Trainee: trainee, Plan: &plan, Window: w}
	p.Origin, p.AsOf = window.FromBag, first+engine.Day(days)
	return p
}

// TestMemo_CountsAnAnswerWithItsForms: what is held takes no more than is counted
// for it, once both of its forms have been made.
func TestMemo_CountsAnAnswerWithItsForms(t *testing.T) {
	var all []kept[proto.Message]
	inUse := func() uint64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	var counted uint64
	before := inUse()
	for days := range 200 {
		for _, every := range []int{1, 3, 50} {
			p := known(days, every)
			outlooks := phase.Forecast(p.Snapshot.Window, p.Snapshot.Trainee.Profile, p.plan.Plan, p.AsOf)
			for _, m := range []proto.Message{recommendation("t", p), convert.ForecastToProto(outlooks, p.plan.WeekendExtraKcal)} {
				k := kept[proto.Message]{m, call.NewEncoded(m)}
				wire, err := k.encoded.Wire()
				if err != nil {
					t.Fatal(err)
				}
				json, err := k.encoded.JSON()
				if err != nil || len(json) > asJSON*len(wire) {
					t.Errorf("%d bytes of JSON, %v, of a message of %d: more than is counted", len(json), err, len(wire))
				}
				counted += uint64(sizeOf(k))
				all = append(all, k)
			}
		}
	}
	took := inUse() - before
	if took > counted || took < counted/3 {
		t.Errorf("%d answers take %d bytes, and %d are counted", len(all), took, counted)
	}
	runtime.KeepAlive(all)
}

// TestHeld_EachLabelHasItsOwn: an equal label gets the very answer that was given
// before, with the same forms; any other one gets its own.
func TestHeld_EachLabelHasItsOwn(t *testing.T) {
	m, err := NewMemo(1 << 20)
	if err != nil {
		t.Fatal(err)
	}
	ask := func(trainee string, p present) any {
		ctx, told := call.WithHeld(t.Context())
		return told.Of(held(ctx, m, m.recommendations, store.Scope{Tenant: "a", Trainee: trainee}, p, func() *pb.Recommendation { return recommendation(trainee, p) }))
	}
	p := known(40, 1)
	first, ok := ask("t", p).(*call.Encoded)
	if !ok || ask("t", p) != any(first) {
		t.Fatal("an answer is not held")
	}
	for name, other := range map[string]func() any{
		"a later head":    func() any { q := p; q.Snapshot.Head.Revision++; return ask("t", q) },
		"another day":     func() any { q := p; q.AsOf++; return ask("t", q) },
		"another plan":    func() any { q := p; q.plan.ID = "q"; return ask("t", q) },
		"another trainee": func() any { return ask("u", p) },
		"erased since": func() any {
			m.Forget(store.Scope{Tenant: "a", Trainee: "t"})
			p.forgotten = m.forgets.Count()
			return ask("t", p)
		},
	} {
		ask("t", p)
		if got, ok := other().(*call.Encoded); !ok || got == first || got.Message == first.Message {
			t.Errorf("%s: %T, the same %v", name, got, got == first)
		}
		first = ask("t", p).(*call.Encoded)
	}
	p.Origin = window.FromStore
	if got, ok := ask("t", p).(*pb.Recommendation); !ok || got == first.Message {
		t.Errorf("what was read of the store is given as %T", got)
	}
}

// TestRenew: what is held after a write, before anybody has asked, is what whoever
// asks would be given; and only where the last answer rested on the state before.
func TestRenew(t *testing.T) {
	whose := store.Scope{Tenant: "a", Trainee: "t"}
	loaded := known(460, 1) // after the write
	loaded.AsOf--           // asked for as of yesterday's last day
	for name, c := range map[string]struct {
		before func(p *present)        // what was answered
		after  func(s *store.Snapshot) // what is loaded
		made   bool
	}{
		"the state before":     {func(*present) {}, func(*store.Snapshot) {}, true},
		"two writes before":    {func(p *present) { p.Snapshot.Head.Revision-- }, func(*store.Snapshot) {}, false},
		"this state":           {func(p *present) { p.Snapshot.Head.Revision++ }, func(*store.Snapshot) {}, false},
		"of another life":      {func(p *present) { p.Snapshot.Head.Incarnation = "bb" }, func(*store.Snapshot) {}, false},
		"of another plan":      {func(p *present) { p.plan.ID = "q" }, func(*store.Snapshot) {}, false},
		"the plan was closed":  {func(*present) {}, func(s *store.Snapshot) { s.Plan = nil }, false},
		"of more days than it": {func(*present) {}, func(s *store.Snapshot) { s.Window = s.Window.Between(loaded.AsOf-rollingDays+1, s.Window.End()) }, false},
		"not read of a bag":    {func(p *present) { p.Origin = window.FromStore }, func(*store.Snapshot) {}, false}, // so it is not held
	} {
		t.Run(name, func(t *testing.T) {
			m, err := NewMemo(1 << 20)
			if err != nil {
				t.Fatal(err)
			}
			before := loaded
			before.Snapshot.Head.Revision--
			before.Snapshot.Window = before.Snapshot.Window.Between(loaded.AsOf-rollingDays, loaded.AsOf)
			c.before(&before)
			held(t.Context(), m, m.recommendations, whose, before, func() *pb.Recommendation { return recommendation("t", before) })
			snap := loaded.Snapshot
			c.after(&snap)
			if made := m.Renew(whose, snap); made != c.made {
				t.Fatalf("made: %v, want %v", made, c.made)
			}
			if !c.made {
				return
			}
			asked := loaded
			asked.Snapshot.Window = asked.Snapshot.Window.Between(asked.AsOf-rollingDays, asked.Snapshot.Window.End())
			got := held(t.Context(), m, m.recommendations, whose, asked, func() *pb.Recommendation {
				t.Error("it is computed once more")
				return nil
			})
			if want := recommendation("t", asked); !proto.Equal(got, want) {
				t.Errorf("held %v\nwant %v", got, want)
			}
			if other := recommendation("t", before); proto.Equal(got, other) {
				t.Error("the write changes nothing: the test proves nothing")
			}
		})
	}
	m, err := NewMemo(1 << 20)
	if err != nil {
		t.Fatal(err)
	}
	if m.Renew(whose, loaded.Snapshot) {
		t.Error("made although nobody has ever asked")
	}
}

// What was read of a trainee before an erasure is not held after it.
func TestHeld_NotOfAnErasedOne(t *testing.T) {
	m, err := NewMemo(1 << 20)
	if err != nil {
		t.Fatal(err)
	}
	whose, p := store.Scope{Tenant: "a", Trainee: "t"}, known(40, 1)
	p.forgotten = m.forgets.Count()
	got := held(t.Context(), m, m.recommendations, whose, p, func() *pb.Recommendation {
		m.Forget(whose)
		return recommendation("t", p)
	})
	if got == nil {
		t.Error("whoever asked before gets nothing")
	}
	if _, ok := m.recommendations.Last(whose); ok {
		t.Error("it is held")
	}
	p.forgotten = m.forgets.Count() // the next one of that id
	held(t.Context(), m, m.recommendations, whose, p, func() *pb.Recommendation { return recommendation("t", p) })
	if _, ok := m.recommendations.Last(whose); !ok {
		t.Error("nothing is held any more")
	}
}
