package phase

import (
	"cmp"
	"slices"

	"example.com/steelyard/engine"
)

// DueReason is why a trainee is due a talk. Stored: never reorder.
type DueReason uint8

// Reasons. The list of who is due is by day, not by reason.
const (
	DueUnspecified DueReason = iota
	DueReview
	DueStoppedLogging
	DueCaution
	DueMilestone
)

// Due is one reason to talk to a trainee, from a day on.
type Due struct {
	Reason DueReason
	From   engine.Day
	Until  engine.OptDay // the last day it is due; unknown: until something changes
	Line   string        // for the front desk; it names no measurement but a share of the starting weight, and no state of health
}

const (
	// DueDays is how many days of the log the due talks rest on: the last day
	// with an entry and those before it.
	DueDays = 28
	// DueFirstReadings is how many readings the starting weight rests on.
	DueFirstReadings = 3
	// silentDays after the last entry a trainee has stopped logging; common
	// practice, no source.
	silentDays = 4
)

// DueTalks returns why a trainee is due a talk, ascending by first day, then
// reason. The window ends with the last day that has an entry; weight, intake and
// marks of its last DueDays days count, and of a decision its day and action.
// firstKg are the first DueFirstReadings readings of the plan, fewer when there
// are no more. Nothing depends on the day it is asked on: each entry says from
// when and until when it is due, and holds for every day from the last entry of
// the log on, until log, profile or plan change. So a list can be kept of them
// that no clock has to renew.
//
// It runs no filter: it costs a few passes over the days, some microseconds
// (BenchmarkDueTalks). What only an estimate shows, an unexplained loss above
// all, is for Recommend, which is asked at the review.
func DueTalks(w engine.Window, firstKg []float64, p engine.Profile, plan engine.Plan) []Due {
	if plan.State == engine.PlanClosed {
		return nil
	}
	from := max(0, len(w.Days)-DueDays)
	f := &facts{
		window:  engine.Window{First: w.First + engine.Day(from), Days: w.Days[from:]},
		profile: p, plan: plan, asOf: plan.Start,
	}
	if len(w.Days) > 0 {
		f.asOf = w.End() - 1
	}
	f.weightKg = presentWeight(f.window)

	due := f.dueByPlan()
	if cautions := f.dueCautions(); len(cautions) > 0 {
		due = append(due, cautions...)
	} else { // nobody is congratulated on a loss that may do harm
		due = append(due, f.dueMilestones(firstKg)...)
	}
	due = slices.DeleteFunc(due, func(d Due) bool { return d.Until.OK && d.Until.Day < f.asOf })
	slices.SortStableFunc(due, func(a, b Due) int {
		return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.Reason, b.Reason))
	})
	return due
}

// dueByPlan returns the next review, all decisions in force, and when a silence
// of the log counts. Both end with the plan and after a referral: nobody is
// asked to log for a plan that gives no targets.
func (f *facts) dueByPlan() []Due {
	asOf := f.plan.Start
	for _, d := range f.plan.Decisions {
		asOf = max(asOf, d.From)
	}
	next := NextReview(f.plan, asOf)
	if !next.OK {
		return nil
	}
	silent := Due{
		Reason: DueStoppedLogging, From: f.plan.Start + silentDays,
		Line: "Nothing is logged since the plan began: a friendly word may help to get going.",
	}
	if len(f.window.Days) > 0 && f.asOf >= f.plan.Start {
		silent.From = f.asOf + silentDays
		silent.Line = "Nothing is logged since " + f.asOf.String() + ": please ask how things are, and whether something got in the way."
	}
	return []Due{
		{Reason: DueReview, From: next.Day, Line: "A review is due: look at the recommendation together and decide how to go on."},
		silent,
	}
}
