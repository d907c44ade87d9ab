package window_test

import (
	"context"
	"flag"
	"fmt"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

var (
	alice = store.Scope{Tenant: "gym-1", Trainee: "t1"}
	bob   = store.Scope{Tenant: "gym-2", Trainee: "t1"}
)

// log is one trainee's data: its head and the weights of days 0, 1, 2, ...
type log struct {
	head store.Head
	days map[engine.Day]float64
}

// snapshots is a store that knows a few logs.
type snapshots struct {
	logs  map[store.Scope]*log
	heads int
	loads int
	// beforeLoad runs between the probe and the load, as a writer may.
	beforeLoad func()
	headErr    error
	loadErr    error
}

func (s *snapshots) Head(_ context.Context, sc store.Scope) (store.Head, error) {
	s.heads++
	if s.headErr != nil {
		return store.Head{}, s.headErr
	}
	l, ok := s.logs[sc]
	if !ok {
		return store.Head{}, fmt.Errorf("read head: %w", store.ErrNotFound)
	}
	return l.head, nil
}

func (s *snapshots) Snapshot(_ context.Context, sc store.Scope, first engine.Day) (store.Snapshot, error) {
	s.loads++
	if s.beforeLoad != nil {
		s.beforeLoad()
	}
	if s.loadErr != nil {
		return store.Snapshot{}, s.loadErr
	}
	l, ok := s.logs[sc]
	if !ok {
		return store.Snapshot{}, fmt.Errorf("read snapshot: %w", store.ErrNotFound)
	}
	return l.snapshot(sc, first), nil
}

// snapshot is what a store gives: every day from first to the last with an entry.
func (l *log) snapshot(sc store.Scope, first engine.Day) store.Snapshot {
	out := store.Snapshot{Head: l.head, Trainee: store.Trainee{ID: sc.Trainee}, Window: engine.Window{First: first}}
	last := first - 1
	for d := range l.days {
		last = max(last, d)
	}
	for d := first; d <= last; d++ {
		day := engine.WindowDay{}
		if kg, ok := l.days[d]; ok {
			day.WeightKg, day.Readings = engine.Some(kg), 1
			out.Window.Lifts = append(out.Window.Lifts, engine.LiftDay{Day: d, Lift: "press", Sets: 1}, engine.LiftDay{Day: d, Lift: "squat", Sets: 2})
			out.Window.BodyFat = append(out.Window.BodyFat, engine.BodyFatReading{Day: d, BodyFat: engine.BodyFat{Pct: kg / 4}})
			out.Window.Tapes = append(out.Window.Tapes, engine.TapeReading{Day: d, Tape: engine.Tape{WaistCm: engine.Some(kg)}})
		}
		out.Window.Days = append(out.Window.Days, day)
	}
	return out
}

// bag holds what the test puts into it.
type bag struct {
	held map[store.Scope]store.Snapshot
	puts int
}

func (b *bag) Get(_ context.Context, sc store.Scope) (store.Snapshot, bool) {
	s, ok := b.held[sc]
	return s, ok
}

func (b *bag) Put(_ context.Context, sc store.Scope, s store.Snapshot) {
	b.puts++
	b.held[sc] = s
}

// served counts how reads were served.
type served map[window.Origin]int

func (s served) count(_ context.Context, o window.Origin) { s[o]++ }

func head(incarnation string, revision int64) store.Head {
	return store.Head{Incarnation: incarnation, Revision: revision}
}

// fixSeed makes rapid draw the same cases in each run, unless one was asked for.
func fixSeed(t *testing.T) {
	t.Helper()
	if seed := flag.Lookup("rapid.seed"); seed.Value.String() == "0" {
		if err := seed.Value.Set("20260301"); err != nil {
			t.Fatal(err)
		}
	}
}
