package phase

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
	"example.com/steelyard/engine/internal/dist"
)

// inCut is an invented man of 80 kg in a cut at 2000 kcal a day, judged by an
// estimate that the test sets.
func inCut(rate, sd float64) *facts {
	birth, _ := engine.DayOf(1993, 5, 20)
	plan := engine.DefaultPlan(start)
	plan.Decisions = []engine.Decision{{From: start, Action: engine.StartDeficit, Target: engine.Target{IntakeKcal: 2000}}}
	f := &facts{
		profile:   engine.Profile{Sex: engine.Male, BirthDate: engine.SomeDay(birth), HeightCm: engine.Some(180)},
		plan:      plan,
		asOf:      start + 30,
		arc:       arcOf(plan, start+30),
		stage:     WeeklyReviews,
		weightKg:  engine.Some(80),
		current:   &plan.Decisions[0].Target,
		present:   plan.Decisions[0].Target,
		pace:      plan.PacePctPerWeek,
		guess:     balance.Guess{Kcal: 2500, IsTracked: true},
		floorKcal: engine.Some(1500),
		estimate:  &balance.Estimate{TrendWeightKg: 80, RatePctPerWeek: rate, RateSDPctPerWeek: sd, MaintenanceKcal: 2500, MaintenanceSDKcal: 100},
	}
	f.estimate.PBelowBand = f.estimate.PRateBelow(plan.BandLowPctPerWeek)
	f.estimate.PAboveBand = 1 - f.estimate.PRateBelow(plan.BandHighPctPerWeek)
	return f
}

// kcalPerPct is one % of 80 kg a week in kcal/d: 0.8 kg of 7600 kcal/kg in 7 days.
const kcalPerPct = 0.8 * 7600 / 7

func TestPosteriorReview(t *testing.T) {
	// The rate at which P(rate > 1) is just 0.70 with an SD of 0.2.
	edge := 1 + 0.2*dist.NormalQuantile(0.70)
	for _, c := range []struct {
		what             string
		rate, sd, intake float64
		action           engine.Action
		change           float64 // kcal/d
	}{
		{"P(rate < 0.55) just over 0.50", 0.5499, 0.2, 4000, engine.LowerBalance, -0.2501 * kcalPerPct / 0.74},
		{"at 0.50", 0.55, 0.2, 4000, engine.LowerBalance, -0.25 * kcalPerPct / 0.74},
		{"just under", 0.5501, 0.2, 4000, engine.Hold, 0},
		{"the step is at most 10 % of the intake", 0.45, 0.2, 2000, engine.LowerBalance, -200}, // 411 asked
		{"and at least 5 %", 0.55, 0.2, 10000, engine.LowerBalance, -500},
		{"on track", 0.80, 0.2, 2000, engine.Hold, 0},
		{"P(rate > 1) just under 0.70", edge - 1e-4, 0.2, 2000, engine.Hold, 0},
		{"just over", edge + 1e-4, 0.2, 2000, engine.RaiseBalance, 200},
		{"the step is what is over the pace", 1.005, 0.005, 4000, engine.RaiseBalance, 0.205 * kcalPerPct / 0.78},
		{"uncertain and slow", 0.54, 3, 2000, engine.LowerBalance, -200},
		{"uncertain and fast", 1.2, 3, 2000, engine.Hold, 0},
	} {
		f := inCut(c.rate, c.sd)
		f.present.IntakeKcal = c.intake
		a := f.posteriorReview()
		if a.Action != c.action || math.Abs(a.ChangeKcal.V-c.change) > 1e-6 || a.ChangeKcal.OK != (c.action != engine.Hold) {
			t.Errorf("%s: action %d, change %+v; want %d, %.3f", c.what, a.Action, a.ChangeKcal, c.action, c.change)
		}
		if pct := 100 * c.change / c.intake; math.Abs(a.ChangePct.V-pct) > 1e-6 {
			t.Errorf("%s: change of %v %%, want %v", c.what, a.ChangePct.V, pct)
		}
	}
}

// A plan with its pace at the band's lower edge never lowers what is at pace.
func TestPosteriorDoesNotOutrunThePace(t *testing.T) {
	f := inCut(0.51, 0.1)
	f.pace = 0.5
	if a := f.posteriorReview(); a.Action != engine.Hold {
		t.Errorf("action %d at a rate over the pace", a.Action)
	}
	f = inCut(0.49, 0.1)
	f.pace = 0.5
	if a := f.posteriorReview(); a.Action != engine.LowerBalance || a.ChangeKcal.V != -100 {
		t.Errorf("action %d %v at a rate under the pace", a.Action, a.ChangeKcal)
	}
}

func TestPosteriorOpening(t *testing.T) {
	const base = 0.72 * 125 // of the walking to come
	for _, c := range []struct {
		what string
		rate float64 // at the present intake, the guess of 2500
		edit func(*facts)
		cut  float64
	}{
		{"at maintenance", 0, nil, (0.8*kcalPerPct - base) / 0.78},
		{"without walking to come", 0, func(f *facts) { f.plan.ActivityLever = false }, 625}, // 891 asked, 25 % of 2500
		{"with the walking done", 0, func(f *facts) { f.present.ActivityKcal = 200 }, 625},
		{"gaining: 25 % at most", -0.3, nil, 625},
		{"losing a little", 0.25, nil, (0.55*kcalPerPct - base) / 0.78},
		{"losing more: 10 % at least", 0.5, nil, 250},
		{"but not beyond the band", 0.8, nil, 0},      // 250 less would make 1.02
		{"nor when losing fast already", 1.2, nil, 0}, // no cut can be negative
	} {
		f := inCut(c.rate, 0.2)
		f.plan.Decisions, f.stage = nil, MaintenanceTest
		f.present.IntakeKcal = 2500
		f.guess.Kcal = 2500
		if c.what == "at maintenance" {
			f.guess.Kcal = 4000 // so that the bounds do not bind
		}
		if c.edit != nil {
			c.edit(f)
		}
		a := f.posteriorOpening()
		if a.Action != engine.StartDeficit || math.Abs(a.ChangeKcal.V+c.cut) > 1e-6 {
			t.Errorf("%s: action %d, change %.2f; want %.2f", c.what, a.Action, a.ChangeKcal.V, -c.cut)
		}
	}
}
