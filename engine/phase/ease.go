package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// easedPace is what a plan aims at once it was eased: half way from its pace
// down to the lower end of its band. Common practice, no source.
func easedPace(plan engine.Plan) float64 {
	return (plan.BandLowPctPerWeek + plan.PacePctPerWeek) / 2
}

// ease slows the plan down for a reason: food comes back, 5-10 % of the intake,
// where the loss is faster than the eased pace; where it is not, the target
// stays and only what the plan aims at changes.
func (f *facts) ease(why Finding) verdict {
	pace := min(easedPace(f.plan), f.pace)
	v := verdict{action: engine.Ease, foodShare: foodShare}
	if f.estimate.RatePctPerWeek > pace {
		v.changeKcal = clamp((f.estimate.RatePctPerWeek-pace)/f.perKcal()/foodShare, stepLeast*f.present.IntakeKcal, stepMost*f.present.IntakeKcal)
	} else {
		stay := f.stay()
		v.proposed = &stay
		v.headline = fmt.Sprintf("%s Keep the target of %.0f kcal a day and aim at %.2f %% of body weight a week from now on: slower is fine.",
			why.Sentence, stay.IntakeKcal, pace)
	}
	why.Numbers = append(why.Numbers, Number{"eased_pace_pct_per_week", pace, "%/week"}, Number{"rate_pct_per_week", f.estimate.RatePctPerWeek, "%/week"})
	v.findings = []Finding{why}
	return v
}

func (f *facts) easeHeadline(v *verdict, c *LeverChange) string {
	return fmt.Sprintf("%s Ease off: %s, and aim at %.2f %% of body weight a week from now on.",
		v.findings[0].Sentence, changeWords(c), min(easedPace(f.plan), f.pace))
}
