package phases

import (
	"context"
	"errors"
	"fmt"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// rollingDays is how far back a recommendation or a forecast looks.
const rollingDays = 400

// present is what a recommendation or a forecast is computed from.
type present struct {
	call.Present
	plan      store.Plan // the open plan of the asked id
	forgotten uint64     // how often the memo had forgotten somebody when the reading began
}

// read loads what a recommendation for a plan needs; of asked, the date and what
// goes with it are the caller's.
func (s *Server) read(ctx context.Context, sc store.Scope, planID string, asked call.AsOf) (present, error) {
	asked.Now, asked.First = s.Now(), func(asOf engine.Day) engine.Day { return asOf - rollingDays }
	forgotten := s.Memo.forgets.Count()
	p, err := asked.Read(ctx, s.Windows, sc)
	isOpen := func() bool { return p.Snapshot.Plan != nil && p.Snapshot.Plan.ID == planID }
	if err == nil && asked.AtLeast != "" && !isOpen() { // it may have been opened since
		asked.AtLeast = ""
		p, err = asked.Read(ctx, s.Windows, sc)
	}
	if err != nil {
		return present{}, err
	}
	if !isOpen() {
		return present{}, s.whyNotOpen(ctx, sc, planID)
	}
	return present{p, *p.Snapshot.Plan, forgotten}, nil
}

// whyNotOpen says why a plan gives no answer for a day: it is closed, or there is
// none of that id.
func (s *Server) whyNotOpen(ctx context.Context, sc store.Scope, planID string) error {
	err := s.Store.View(ctx, sc, func(v store.View) error {
		_, err := v.Plan(planID)
		return err
	})
	if err != nil {
		return err
	}
	return &fault.Refused{Reason: "PLAN_CLOSED", Sentence: "the plan is closed; it gives neither recommendations nor a forecast"}
}

// tries bounds how often a read of two parts is begun again.
const tries = 3

// atOneHead reads something of the record and a window so that both show the
// trainee's data at the same head: it looks, loads, and begins again when a
// write came between. A snapshot holds the open plan only; this is for the others.
func (s *Server) atOneHead(ctx context.Context, sc store.Scope, look func(store.View) error, load func() (call.Present, error)) (call.Present, error) {
	for range tries {
		var head store.Head
		if err := s.Store.View(ctx, sc, func(v store.View) error {
			head = v.Head()
			return look(v)
		}); err != nil {
			return call.Present{}, err
		}
		p, err := load()
		if err != nil {
			return call.Present{}, err
		}
		if p.Snapshot.Head == head {
			return p, nil
		}
	}
	return call.Present{}, &fault.Conflict{Reason: "DATA_CHANGING", Sentence: "the trainee's data is being written; try again"}
}

// today is the present day of a trainee.
func (s *Server) today(of store.View) (engine.Day, error) {
	day, err := convert.Today(s.Now(), of.TimeZone())
	if err != nil {
		return 0, fmt.Errorf("trainee's zone: %w", err)
	}
	return day, nil
}

// latestWeight returns the last reading of a window.
func latestWeight(w engine.Window) engine.Opt {
	for i := len(w.Days) - 1; i >= 0; i-- {
		if w.Days[i].WeightKg.OK {
			return w.Days[i].WeightKg
		}
	}
	return engine.Opt{}
}

// weightLookback is how old a reading may be to count as the present weight.
const weightLookback = 90

// presentWeight returns the trainee's latest weight, if there is a fresh one.
func (s *Server) presentWeight(ctx context.Context, sc store.Scope) (engine.Opt, error) {
	utc, err := convert.Today(s.Now(), convert.DefaultZone)
	if err != nil {
		return engine.Opt{}, err
	}
	snap, _, err := s.Windows.Snapshot(ctx, sc, utc-weightLookback)
	if errors.Is(err, store.ErrNotFound) {
		return engine.Opt{}, nil // the write itself will say so, or replay its answer
	}
	return latestWeight(snap.Window), err
}
