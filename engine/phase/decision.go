package phase

import (
	"fmt"
	"slices"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
)

// A refeed is one day in so many; the bounds keep typing errors out.
const (
	refeedLeastDays = 3
	refeedMostDays  = 28
)

// ValidateDecision returns why a decision's target may not be set, whoever
// chose it; nothing when it may. Fields are the decision's, in snake_case. The
// decision is judged on the morning that it holds from, with the decisions
// before it.
//
//   - a number that is no day's is refused
//   - intake under the floor is refused
//   - a refeed of less than an ordinary day, or in a cadence outside 3..28 days, is refused
//   - activity over the plan's cap is refused
//   - a trainee whom a safety rule refers, for more than a referral on record, gets no target under maintenance; while
//     maintenance is not known, only the referral itself may be recorded
func ValidateDecision(w engine.Window, p engine.Profile, plan engine.Plan, d engine.Decision) []PlanProblem {
	if !balance.IsTarget(d.Target) {
		return []PlanProblem{{"target", "must be an intake and an activity from 0 to 20000 kcal a day"}}
	}
	f := newFacts(w, p, plan, d.From)
	var problems []PlanProblem
	refuse := func(field, problem string, args ...any) {
		problems = append(problems, PlanProblem{field, fmt.Sprintf(problem, args...)})
	}
	if f.floorKcal.OK && d.Target.IntakeKcal < f.floorKcal.V {
		refuse("target.intake_kcal", "must not be under the floor of %.0f kcal a day", f.floorKcal.V)
	}
	if r := d.Target.Refeed; r != (engine.Refeed{}) {
		if r.EveryDays < refeedLeastDays || r.EveryDays > refeedMostDays {
			refuse("target.refeed_every_days", "must be between %d and %d", refeedLeastDays, refeedMostDays)
		} else if r.IntakeKcal < d.Target.IntakeKcal {
			refuse("target.refeed_intake_kcal", "must not be under the intake of an ordinary day")
		}
	}
	if d.Target.ActivityKcal > plan.ActivityCapKcal {
		refuse("target.activity_kcal", "must not be over the plan's cap of %g kcal a day", plan.ActivityCapKcal)
	}
	if found := f.standingReasons(); len(found) > 0 {
		maintenance := f.maintenance()
		switch {
		case !maintenance.OK && d.Action != engine.Refer:
			refuse("target", "cannot be set: %s", found[0].Sentence)
		case maintenance.OK && d.Target.MeanIntakeKcal() < maintenance.V:
			refuse("target.intake_kcal", "must not be under maintenance, about %.0f kcal a day: %s", maintenance.V, found[0].Sentence)
		}
	}
	return problems
}

// standingReasons are the safety findings that a decision cannot settle. A
// referral on record is one that it can: whoever looked at the trainee says so
// by deciding again.
func (f *facts) standingReasons() []Finding {
	return slices.DeleteFunc(f.safetyFindings(), func(x Finding) bool { return x.Code == CodeReferralRecorded })
}

// maintenance is the best present number for it, tracked kcal/d.
func (f *facts) maintenance() engine.Opt {
	switch {
	case f.estimate != nil:
		return engine.Some(f.estimate.MaintenanceKcal)
	case f.hasTrack:
		return engine.Some(f.guess.TrackedKcal())
	}
	return engine.Opt{}
}
