package phase

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
)

// line is a log whose readings lie on a straight line, losing so many % of
// 80 kg a week, with 80 kg for the mean of the last ones.
func line(days, last int, lossPct float64) engine.Window {
	w := engine.Window{First: start}
	for i := range days {
		kg := 80 - lossPct/100*80/7*(float64(i-days)+float64(last+1)/2)
		w.Days = append(w.Days, engine.WindowDay{WeightKg: engine.Some(kg), IntakeKcal: engine.Some(2500)})
	}
	return w
}

func factsOf(w engine.Window, plan engine.Plan, asOf engine.Day) *facts {
	return newFacts(w, newTrainee(1).profile, plan, asOf)
}

// Common practice, no source: the table's shares, at, below and above each edge.
func TestPracticeOpening(t *testing.T) {
	for _, c := range []struct{ loss, pct float64 }{
		{0.501, 10}, {0.499, 15}, {0.2, 15}, {0, 15}, {-0.099, 15}, {-0.101, 20}, {-0.499, 20}, {-0.501, 25}, {-2, 25},
	} {
		plan := engine.DefaultPlan(start)
		f := factsOf(line(11, 11, c.loss), plan, start+10)
		a := f.practiceOpening()
		if a == nil {
			t.Fatalf("loss %v: no answer", c.loss)
		}
		if math.Abs(a.RatePctPerWeek-c.loss) > 1e-9 || math.Abs(a.ChangePct.V+c.pct) > 1e-9 {
			t.Errorf("loss %v: read %v, %v %% of the intake, want %v", c.loss, a.RatePctPerWeek, a.ChangePct.V, -c.pct)
		}
	}
}

// The line is of the test alone, and of all of it.
func TestPracticeOpeningReadsTheTest(t *testing.T) {
	w := line(31, 11, 0.3)
	for i := range 20 {
		w.Days[i].WeightKg = engine.Some(80) // before the plan
	}
	plan := engine.DefaultPlan(start + 20)
	if a := factsOf(w, plan, start+30).practiceOpening(); math.Abs(a.RatePctPerWeek-0.3) > 0.01 {
		t.Errorf("read %v", a.RatePctPerWeek)
	}
	for i := 20; i < 31; i++ {
		if i != 20 && i != 24 && i != 28 {
			w.Days[i].WeightKg = engine.Opt{}
		}
	}
	if a := factsOf(w, plan, start+30).practiceOpening(); a != nil {
		t.Errorf("an answer from three readings: %+v", a)
	}
	plan.SkipMaintenanceTest = true
	plan.Start = start + 30
	if a := factsOf(line(31, 11, 0.7), plan, start+30).practiceOpening(); a == nil || a.ChangePct.V != -10 {
		t.Errorf("without a test: %+v", a)
	}
}

func TestPracticeReview(t *testing.T) {
	for _, c := range []struct {
		loss   float64
		action engine.Action
		pct    float64
	}{
		{0.501, engine.Hold, 0},
		{0.499, engine.LowerBalance, -5.01},
		{0.25, engine.LowerBalance, -7.5},
		{0, engine.LowerBalance, -10},
		{-1, engine.LowerBalance, -10},
		{0.999, engine.Hold, 0},
		{1.001, engine.RaiseBalance, 5.01},
		{1.25, engine.RaiseBalance, 7.5},
		{3, engine.RaiseBalance, 10},
	} {
		plan := engine.DefaultPlan(start)
		plan.Decisions = []engine.Decision{{From: start, Action: engine.StartDeficit, Target: engine.Target{IntakeKcal: 2000}}}
		w := line(21, 7, c.loss)
		f := factsOf(w, plan, start+20)
		a := f.practiceReview()
		if a == nil {
			t.Fatalf("loss %v: no answer", c.loss)
		}
		if a.Action != c.action || math.Abs(a.RatePctPerWeek-c.loss) > 1e-9 || math.Abs(a.ChangePct.V-c.pct) > 1e-6 {
			t.Errorf("loss %v: read %v, action %d, %.2f %%; want %d, %.2f", c.loss, a.RatePctPerWeek, a.Action, a.ChangePct.V, c.action, c.pct)
		}
	}
}

// The first three mornings after a change of intake are water; the change's own
// morning comes before it. So ten days after there are seven readings.
func TestPracticeReviewSkipsWater(t *testing.T) {
	plan := engine.DefaultPlan(start)
	plan.Decisions = []engine.Decision{
		{From: start, Action: engine.Hold, Target: engine.Target{IntakeKcal: 2500}},
		{From: start + 20, Action: engine.StartDeficit, Target: engine.Target{IntakeKcal: 2000}},
	}
	w := line(31, 7, 0.7)
	for i := 21; i <= 23; i++ {
		w.Days[i].WeightKg = engine.Some(w.Days[i].WeightKg.V - 0.8)
	}
	if a := factsOf(w, plan, start+30).practiceReview(); a == nil || math.Abs(a.RatePctPerWeek-0.7) > 0.01 {
		t.Errorf("ten days after: %+v", a)
	}
	if a := factsOf(w, plan, start+27).practiceReview(); a == nil { // four readings
		t.Error("no line through four readings")
	}
	if a := factsOf(w, plan, start+26).practiceReview(); a != nil {
		t.Errorf("a line through three readings: %+v", a)
	}
}
