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
		{TargetKcal: engine.Some(2400), MeanKcal: engine.Some(2400), ActivityKcal: 50, IsRefeed: true, IsSalty: true, RefeedKcal: engine.Some(3000)},
		{TargetKcal: engine.Some(2400), MeanKcal: engine.Some(2400), ActivityKcal: 50, IsPeriodStart: true},
		{WeightKg: engine.Some(79), TargetKcal: engine.Some(2100), MeanKcal: engine.Some(2100), ActivityKcal: 100},
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

// A weekend of its own moves the days' targets and not their mean; refeeds move
// the mean and not the days' targets.
func TestInputsOfAWeek(t *testing.T) {
	saturday := engine.Day(2) // 1970-01-03
	plan := engine.DefaultPlan(saturday - 1)
	plan.WeekendExtraKcal = 500
	plan.Decisions = []engine.Decision{{From: saturday - 1, Target: engine.Target{IntakeKcal: 2000, Refeed: engine.Refeed{EveryDays: 10, IntakeKcal: 2700}}}}
	in := Inputs(engine.Window{First: saturday - 1}, &plan, saturday+2)
	for i, want := range []float64{1800, 2500, 2500, 1800} {
		if in[i].TargetKcal != engine.Some(want) || in[i].MeanKcal != engine.Some(2070) {
			t.Errorf("day %d: %+v, want %v and a mean of 2070", i, in[i], want)
		}
	}
}

// At the holding intake the tendency is nil, whatever the prescribed activity.
func TestHoldingIntakeHolds(t *testing.T) {
	w := engine.Window{First: 100}
	for i := range 40 {
		w.Days = append(w.Days, engine.WindowDay{WeightKg: engine.Some(80 - 0.08*float64(i)), IntakeKcal: engine.Some(2000)})
	}
	track := Run(w.First, Inputs(w, nil, w.End()-1), Guess{Kcal: 2600, IsTracked: true})
	for _, activity := range []float64{0, 150, 400} {
		e, _ := track.Estimate(engine.Target{IntakeKcal: 2000, ActivityKcal: activity}, Band{0.5, 1})
		kcal, sd := e.HoldingIntake(activity)
		at, _ := track.Estimate(engine.Target{IntakeKcal: kcal, ActivityKcal: activity}, Band{0.5, 1})
		if math.Abs(at.RatePctPerWeek) > 1e-9 || sd != e.MaintenanceSDKcal {
			t.Errorf("with %v kcal of activity: %.3g %%/week at %.1f kcal, sd %.1f", activity, at.RatePctPerWeek, kcal, sd)
		}
		// What keeps the scale under the trend is this much for each 1000 kcal of swing.
		if back := e.TrendWeightKg - e.ScaleWeightKg; math.Abs(e.WaterKgPer1000Kcal+back/track.end.swing) > 1e-9 || back < 0.3 || e.WaterSDKgPer1000Kcal <= 0 {
			t.Errorf("%.2f kg of water for 1000 kcal, give or take %.2f; trend less scale is %.2f", e.WaterKgPer1000Kcal, e.WaterSDKgPer1000Kcal, back)
		}
	}
}

// Refeeds count with their share of the days.
func TestEstimateCountsRefeeds(t *testing.T) {
	w := engine.Window{First: 100}
	for range 20 {
		w.Days = append(w.Days, engine.WindowDay{WeightKg: engine.Some(80), IntakeKcal: engine.Some(2500)})
	}
	track := Run(w.First, Inputs(w, nil, w.End()-1), Guess{Kcal: 2500, IsTracked: true})
	with, _ := track.Estimate(engine.Target{IntakeKcal: 1950, Refeed: engine.Refeed{EveryDays: 14, IntakeKcal: 2650}}, Band{0.5, 1})
	without, _ := track.Estimate(engine.Target{IntakeKcal: 2000}, Band{0.5, 1})
	if math.Abs(with.RatePctPerWeek-without.RatePctPerWeek) > 1e-12 || with.IntakeKcal != without.IntakeKcal {
		t.Errorf("%+v and %+v have the same mean", with, without)
	}
}

// A refeed of 800 kcal over an ordinary day: 0.55 x 0.8 of the swing, so 0.66 kg
// at 1.5 kg per 1000 kcal; 80 % range by hand with 0.55 and 0.35 kg.
func TestRefeedWater(t *testing.T) {
	low, high := RefeedWater(800)
	half := 1.2815515655446004 * math.Hypot(0.55*0.44, 0.35)
	if math.Abs(low-(0.66-half)) > 1e-9 || math.Abs(high-(0.66+half)) > 1e-9 {
		t.Errorf("%.3f to %.3f", low, high)
	}
	if low, _ := RefeedWater(100); low != 0 {
		t.Errorf("a small refeed takes water away: %v", low)
	}
}
