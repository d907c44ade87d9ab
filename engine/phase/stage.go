package phase

import "example.com/steelyard/engine"

// Stage is where a plan stands.
type Stage uint8

// Stages.
const (
	StageUnspecified Stage = iota
	NotStarted             // before the plan's first day
	MaintenanceTest        // at maintenance until the first StartDeficit decision
	OpeningDeficit         // from that decision, or from the start when the test is skipped, to the first review of the cut
	WeeklyReviews
	Referred     // a safety rule or a Refer decision holds: no targets
	Closed       // the plan is closed
	BaseActivity // the small base of walking is due, or a week old at most
	DietBreak    // from a TakeBreak decision until the cut goes on
	Returning    // from the first ReturnToMaintenance decision: up to maintenance, and watching it
	Finished     // from a Finish decision
	Paused       // illness or travel is marked in the last days
)

// StageOf returns the stage of a plan on a day.
func StageOf(w engine.Window, p engine.Profile, plan engine.Plan, asOf engine.Day) Stage {
	f := newFacts(w, p, plan, asOf)
	if f.stage != Closed && len(f.safetyFindings()) > 0 {
		return Referred
	}
	return f.stage
}

// stageByPlan is the stage that the plan and its decisions alone say. Decisions
// after asOf do not count.
func stageByPlan(plan engine.Plan, asOf engine.Day) Stage {
	cut := CutStart(plan, asOf)
	switch {
	case plan.State == engine.PlanClosed:
		return Closed
	case asOf < plan.Start:
		return NotStarted
	case cut.OK && asOf >= cut.Day+firstReviewDays:
		return WeeklyReviews
	case cut.OK || plan.SkipMaintenanceTest:
		return OpeningDeficit
	}
	return MaintenanceTest
}

// CutStart returns the day from which the first StartDeficit decision holds.
func CutStart(plan engine.Plan, asOf engine.Day) engine.OptDay {
	for _, d := range plan.Decisions {
		if d.From <= asOf && d.Action == engine.StartDeficit {
			return engine.SomeDay(d.From)
		}
	}
	return engine.OptDay{}
}
