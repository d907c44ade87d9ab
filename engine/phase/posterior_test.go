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
	// With an SD of 0.2: where P(rate < 0.5) is just 0.36, and P(rate > 1) too.
	slow := 0.5 - 0.2*dist.NormalQuantile(0.36)
	fast := 1 + 0.2*dist.NormalQuantile(0.36)
	for _, c := range []struct {
		what             string
		rate, sd, intake float64
		action           engine.Action
		change           float64 // kcal/d
	}{
		{"P(rate < 0.5) just over 0.36", slow - 1e-4, 0.2, 5000, engine.LowerBalance, (slow - 1e-4 - 0.8) * kcalPerPct / 0.74},
		{"just under", slow + 1e-4, 0.2, 5000, engine.Hold, 0},
		{"the same rate, less uncertain", slow - 1e-4, 0.1, 5000, engine.Hold, 0},
		{"the step is at most 10 % of the intake", 0.45, 0.2, 2000, engine.LowerBalance, -200}, // 329 asked
		{"and at least 5 %", 0.55, 0.2, 10000, engine.LowerBalance, -500},
		{"on track", 0.80, 0.2, 2000, engine.Hold, 0},
		{"P(rate > 1) just under 0.36", fast - 1e-4, 0.2, 2000, engine.Hold, 0},
		{"just over", fast + 1e-4, 0.2, 2000, engine.RaiseBalance, (fast + 1e-4 - 0.8) * kcalPerPct / 0.78},
		{"the same rate, less uncertain", fast + 1e-4, 0.1, 2000, engine.Hold, 0},
		{"the step is what is over the pace", 1.005, 0.005, 4000, engine.RaiseBalance, 0.205 * kcalPerPct / 0.78},
		{"uncertain, and under the pace", 0.79, 3, 2000, engine.LowerBalance, -100},
		{"uncertain, and over it", 0.81, 3, 2000, engine.RaiseBalance, 100},
		{"uncertain, and at it", 0.80, 3, 2000, engine.Hold, 0},
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

// A plan with its pace at an edge of the band never changes what is at pace,
// nor away from it, however unsure the filter is.
func TestPosteriorDoesNotLeaveThePace(t *testing.T) {
	for _, c := range []struct {
		pace, rate float64
		action     engine.Action
		change     float64
	}{
		{0.5, 0.51, engine.Hold, 0},
		{0.5, 0.5, engine.Hold, 0},
		{0.5, 0.49, engine.LowerBalance, -100},
		{1, 0.99, engine.Hold, 0},
		{1, 1, engine.Hold, 0},
		{1, 1.01, engine.RaiseBalance, 100},
	} {
		f := inCut(c.rate, 0.1)
		f.pace = c.pace
		if a := f.posteriorReview(); a.Action != c.action || a.ChangeKcal.V != c.change {
			t.Errorf("pace %.2f, rate %.2f: action %d, change %v; want %d, %v", c.pace, c.rate, a.Action, a.ChangeKcal, c.action, c.change)
		}
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
