package phase

import (
	"testing"

	"example.com/steelyard/engine"
)

func TestCalendarAndStage(t *testing.T) {
	decide := func(from engine.Day, a engine.Action, kcal float64) engine.Decision {
		return engine.Decision{From: start + from, Action: a, Target: engine.Target{IntakeKcal: kcal}}
	}
	for _, c := range []struct {
		what      string
		skip      bool
		closed    bool
		decisions []engine.Decision
		asOf      engine.Day
		next      engine.Day // -1: none
		stage     Stage
	}{
		{"before the start", false, false, nil, -3, 10, NotStarted},
		{"first day", false, false, nil, 0, 10, MaintenanceTest},
		{"overdue test", false, false, nil, 15, 10, MaintenanceTest},
		{"test target set on the first day", false, false, []engine.Decision{decide(0, engine.KeepLogging, 2500)}, 5, 10, MaintenanceTest},
		{"test target changed on day 6", false, false, []engine.Decision{decide(0, engine.KeepLogging, 2500), decide(6, engine.KeepLogging, 2400)}, 8, 13, MaintenanceTest},
		{"a wait decided at the test's end", false, false, []engine.Decision{decide(10, engine.KeepLogging, 2500)}, 12, 17, MaintenanceTest},
		{"test skipped", true, false, nil, 0, 0, OpeningDeficit},
		{"cut just started", false, false, []engine.Decision{decide(10, engine.StartDeficit, 2100)}, 10, 20, OpeningDeficit},
		{"last day before the first review", false, false, []engine.Decision{decide(10, engine.StartDeficit, 2100)}, 19, 20, OpeningDeficit},
		{"first review", false, false, []engine.Decision{decide(10, engine.StartDeficit, 2100)}, 20, 20, WeeklyReviews},
		{"seen from before the decision", false, false, []engine.Decision{decide(10, engine.StartDeficit, 2100)}, 9, 10, MaintenanceTest},
		{"changed early in the cut", false, false, []engine.Decision{decide(10, engine.StartDeficit, 2100), decide(15, engine.Hold, 2200)}, 16, 22, OpeningDeficit},
		{"held at the review", false, false, []engine.Decision{decide(10, engine.StartDeficit, 2100), decide(20, engine.Hold, 2100)}, 21, 27, WeeklyReviews},
		{"held late", false, false, []engine.Decision{decide(10, engine.StartDeficit, 2100), decide(23, engine.Hold, 2100)}, 29, 30, BaseActivity},
		{"a later decision is not seen", false, false, []engine.Decision{decide(10, engine.StartDeficit, 2100), decide(23, engine.Hold, 2100)}, 22, 20, WeeklyReviews},
		{"closed", false, true, nil, 5, -1, Closed},
		{"referred", false, false, []engine.Decision{decide(10, engine.Refer, 2500)}, 12, -1, Referred},
		{"referral lifted", false, false, []engine.Decision{decide(10, engine.Refer, 2500), decide(14, engine.Hold, 2500)}, 15, 21, MaintenanceTest},
	} {
		plan := engine.DefaultPlan(start)
		plan.SkipMaintenanceTest = c.skip
		plan.Decisions = c.decisions
		if c.closed {
			plan.State = engine.PlanClosed
		}
		asOf := start + c.asOf
		want := engine.SomeDay(start + c.next)
		if c.next < 0 {
			want = engine.OptDay{}
		}
		if got := NextReview(plan, asOf); got != want {
			t.Errorf("%s: next review %+v, want %+v", c.what, got, want)
		}
		if got := ReviewDue(plan, asOf); got != (want.OK && want.Day <= asOf) {
			t.Errorf("%s: due %v", c.what, got)
		}
		if got := StageOf(engine.Window{First: start}, newTrainee(1).profile, plan, asOf); got != c.stage {
			t.Errorf("%s: stage %d, want %d", c.what, got, c.stage)
		}
	}
}
