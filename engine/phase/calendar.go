package phase

import "example.com/steelyard/engine"

// The calendar of a plan: common practice, no source.
const (
	testDays        = 10 // a maintenance test
	firstReviewDays = 10 // from the start of the cut to its first review: three days of water and seven to judge
	reviewDays      = 7  // between reviews, and after any decision

	baseActivityDays   = 17 // of the cut, until a base of walking is added
	slogDays           = 28 // of the cut, until the first-month question
	refeedFromDays     = 30 // of the cut, until refeeds
	weighInCadenceDays = 30 // of the cut, from which every other day is enough
	pictureDays        = 28 // between pictures
	longCutDays        = 84 // of the cut without a break, until one is offered
	breakDays          = 10 // of a diet break; 7 to 14 will do
	watchDays          = 21 // at maintenance before the plan is finished; 14 to 28 will do
	watchMostDays      = 28
)

// NextReview returns the day on which the plan is next to be judged, given the
// decisions in force on asOf; it lies in the past when a review is overdue. It
// is unknown for a closed or finished plan and after a Refer decision. It reads
// no log, so that a list of who is due can be kept without one.
//
// It is the end of the maintenance test, then ten days into the cut, then a
// week after each decision; never less than a week after one. A diet break is
// judged after ten days.
func NextReview(plan engine.Plan, asOf engine.Day) engine.OptDay {
	a := arcOf(plan, asOf)
	if plan.State == engine.PlanClosed || a.finished.OK || a.hasLast && a.last.Action == engine.Refer {
		return engine.OptDay{}
	}
	next := plan.Start + testDays
	switch {
	case a.returnStart.OK:
		next = a.returnStart.Day + reviewDays
	case a.breakStart.OK:
		next = a.breakStart.Day + breakDays
	case a.cut.OK:
		next = a.cut.Day + firstReviewDays
	case plan.SkipMaintenanceTest:
		next = plan.Start
	}
	if a.hasLast {
		next = max(next, a.last.From+reviewDays)
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
	for i := range f.plan.Decisions {
		d := &f.plan.Decisions[i]
		if d.Action == engine.StartDeficit || i > 0 && d.Target.IntakeKcal != f.plan.Decisions[i-1].Target.IntakeKcal {
			from = engine.SomeDay(d.From)
		}
	}
	return from
}

// cutDay is how many days the cut as it stands has run; -1 while none is on.
func (f *facts) cutDay() int {
	if !f.arc.isCutting() {
		return -1
	}
	return int(f.asOf - f.arc.cut.Day)
}
