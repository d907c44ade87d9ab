package balance

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.com/steelyard/engine"
)

func TestInputs(t *testing.T) {
	w := engine.Window{First: 100, Days: []engine.WindowDay{
		{WeightKg: engine.Some(80), IntakeKcal: engine.Some(2500)},
		{IntakeKcal: engine.Some(-1), Marks: engine.MarkSet(0).With(engine.MarkRefeed).With(engine.MarkSaltyMeal), RefeedKcal: engine.Some(3000)},
		{IntakeKcal: engine.Some(math.Inf(1)), Marks: engine.MarkSet(0).With(engine.MarkPeriodStart)},
		{WeightKg: engine.Some(79), IntakeKcal: engine.Some(2000)}, // as of this day
		{WeightKg: engine.Some(70), IntakeKcal: engine.Some(9999)}, // the future
	}}
	plan := engine.DefaultPlan(100)
	plan.Decisions = []engine.Decision{
		{From: 101, Target: engine.Target{IntakeKcal: 2400, ActivityKcal: 50}},
		{From: 103, Target: engine.Target{IntakeKcal: 2100, ActivityKcal: 100}},
		{From: 104, Target: engine.Target{IntakeKcal: 1}},
	}
	want := []Input{
		{WeightKg: engine.Some(80), IntakeKcal: engine.Some(2500)},
		{TargetKcal: engine.Some(2400), ActivityKcal: 50, IsRefeed: true, IsSalty: true, RefeedKcal: engine.Some(3000)},
		{TargetKcal: engine.Some(2400), ActivityKcal: 50, IsPeriodStart: true},
		{WeightKg: engine.Some(79), TargetKcal: engine.Some(2100), ActivityKcal: 100},
	}
	if diff := cmp.Diff(want, Inputs(w, &plan, 103)); diff != "" {
		t.Error(diff)
	}
	if got := Inputs(w, nil, 102); len(got) != 3 || got[2].TargetKcal.OK {
		t.Errorf("without a plan: %+v", got)
	}
	if got := Inputs(w, nil, 110); len(got) != 11 || got[10].WeightKg.OK {
		t.Errorf("past the window's end: %+v", got)
	}
	if got := Inputs(w, nil, 100+maxDays); got != nil {
		t.Errorf("22 years on: %d rows", len(got))
	}
	if got := Inputs(w, nil, 99); got != nil {
		t.Errorf("before the window: %+v", got)
	}
}
