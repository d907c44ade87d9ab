package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// addBaseActivity adds the plan's small base of walking once, from about day 17
// of the cut, while the loss is on track and no review would call it too fast
// with the walking added.
func addBaseActivity(f *facts) (verdict, bool) {
	more := f.plan.BaseActivityKcal - f.present.ActivityKcal
	a := f.deciding()
	if !isBaseDue(f.plan, f.arc, f.asOf) || a == nil || a.Action != engine.Hold ||
		1-f.estimate.PRateBelow(f.plan.BandHighPctPerWeek-walkShare*more*f.perKcal()) >= offP {
		return verdict{}, false
	}
	c := f.change(0, more)
	sentence := fmt.Sprintf("The cut has run for %d days and the loss is %s.", f.cutDay(), f.trackWords())
	return verdict{
		action: engine.AddBaseActivity,
		headline: fmt.Sprintf("%s Add a small base of activity: %s, or anything easy that adds up to the same. The intake stays as it is.",
			sentence, activityWords(c)),
		proposed: &c.Target,
		findings: []Finding{{
			Code: CodeBaseActivity, Severity: Notice, Sentence: sentence, Numbers: walkNumbers(c),
		}},
	}, true
}

// walkNumbers tells a change of activity; steps and minutes where they are known.
func walkNumbers(c *LeverChange) []Number {
	out := []Number{{"activity_kcal", c.ActivityKcalPerDay, "kcal/d"}, {"activity_kcal_per_week", c.ActivityKcalPerWeek, "kcal/week"}}
	if c.StepsPerDay.OK {
		out = append(out, Number{"steps", c.StepsPerDay.V, "1/d"})
	}
	if c.WalkMinutesPerDay.OK {
		out = append(out, Number{"walk_minutes", c.WalkMinutesPerDay.V, "min/d"})
	}
	return out
}
