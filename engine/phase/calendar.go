package phase

import "example.com/steelyard/engine"

// The calendar of a plan: common practice, no source.
const (
	testDays        = 10 // a maintenance test
	firstReviewDays = 10 // from the start of the cut to its first review: three days of water and seven to judge
	reviewDays      = 7  // between reviews, and after any decision
)

// NextReview returns the day on which the plan is next to be judged, given the
// decisions in force on asOf; it lies in the past when a review is overdue. It
// is unknown for a closed plan and after a Refer decision. It reads no log, so
// that a list of who is due can be kept without one.
//
// It is the end of the maintenance test, then ten days into the cut, then a
// week after each decision; never less than a week after one.
func NextReview(plan engine.Plan, asOf engine.Day) engine.OptDay {
	var last engine.Decision
	hasLast := false
	for _, d := range plan.Decisions {
		if d.From <= asOf {
			last, hasLast = d, true
		}
	}
	if plan.State == engine.PlanClosed || hasLast && last.Action == engine.Refer {
		return engine.OptDay{}
	}
	next := plan.Start + testDays
	if cut := CutStart(plan, asOf); cut.OK {
		next = cut.Day + firstReviewDays
	} else if plan.SkipMaintenanceTest {
		next = plan.Start
	}
	if hasLast {
		next = max(next, last.From+reviewDays)
	}
	return engine.SomeDay(next)
}

// ReviewDue reports whether a review is due on asOf.
func ReviewDue(plan engine.Plan, asOf engine.Day) bool {
	next := NextReview(plan, asOf)
	return next.OK && next.Day <= asOf
}

// intakeChange returns the day from which the present intake target holds, when
// it is known to differ from what was eaten before: the first target of a plan
// says nothing about that unless it starts the cut.
func (f *facts) intakeChange() engine.OptDay {
	var from engine.OptDay
	for i, d := range f.plan.Decisions {
		if d.Action == engine.StartDeficit || i > 0 && d.Target.IntakeKcal != f.plan.Decisions[i-1].Target.IntakeKcal {
			from = engine.SomeDay(d.From)
		}
	}
	return from
}
