package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// noReviewDue leaves everything as it is between reviews. In a test without a
// target it gives the one to eat to: the estimated maintenance.
func noReviewDue(f *facts) (verdict, bool) {
	next := NextReview(f.plan, f.asOf)
	if !next.OK || next.Day <= f.asOf {
		return verdict{}, false
	}
	v := verdict{
		action:   engine.Hold,
		headline: "No change before the next review on " + next.Day.String() + ".",
		findings: []Finding{{Code: CodeNoReviewDue, Severity: Info, Day: next, Sentence: "The next review is on " + next.Day.String() + "."}},
	}
	if f.arc.breakStart.OK {
		v.headline = fmt.Sprintf("The break runs until about %s: eat to the target, and let the scale go up a little. %s", next.Day, v.headline)
		return v, true
	}
	if !f.isOpening() {
		if f.estimate != nil {
			v.headline = "At the present target the tendency is " + f.rateWords() + ". " + v.headline
		}
		return v, true
	}
	v.action = engine.KeepLogging
	v.headline = fmt.Sprintf("Weigh every morning before food and log all intake; the cut is decided on %s.", next.Day)
	if kcal := f.testKcal(); f.current == nil && kcal.OK {
		t := f.target(kcal.V, 0)
		v.proposed = &t
		v.headline = fmt.Sprintf("Eat about %.0f kcal a day, the estimated maintenance. %s", t.IntakeKcal, v.headline)
	}
	return v, true
}

// testKcal is the intake of a maintenance test: the guess, in kcal/d.
func (f *facts) testKcal() engine.Opt {
	if f.hasTrack {
		return engine.Some(f.guess.Kcal)
	}
	g, ok := guess(f.profile, f.weightKg.Or(0), f.asOf)
	return engine.Opt{V: g.Kcal, OK: ok}
}
