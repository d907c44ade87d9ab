package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// goalReached brings a plan back up to maintenance once the trend, as it would
// be there with its water back, is at the goal.
func goalReached(f *facts) (verdict, bool) {
	goal := f.plan.GoalWeightKg
	if !goal.OK || f.estimate.TrendWeightKg > goal.V {
		return verdict{}, false
	}
	sentence := fmt.Sprintf("The trend of %.1f kg has reached the goal of %.1f kg.", f.estimate.TrendWeightKg, goal.V)
	v := f.comeBack(Finding{
		Code: CodeGoalReached, Severity: Notice, Sentence: sentence,
		Numbers: []Number{{"trend_weight_kg", f.estimate.TrendWeightKg, "kg"}, {"goal_weight_kg", goal.V, "kg"}},
	})
	return v, true
}

// comeBack recommends the way up to maintenance, its first step first.
func (f *facts) comeBack(why Finding) verdict {
	back := f.wayBack(watchDays)
	t := back.Steps[0]
	steps := fmt.Sprintf("Come back up to maintenance, %.0f kcal a day", t.IntakeKcal)
	if len(back.Steps) > 1 {
		steps = fmt.Sprintf("Come back up to maintenance in two steps: %.0f kcal a day now, %.0f in a week", t.IntakeKcal, back.Steps[1].IntakeKcal)
	}
	return verdict{
		action: engine.ReturnToMaintenance,
		headline: fmt.Sprintf("%s %s (80 %% range of maintenance %.0f to %.0f). %s",
			why.Sentence, steps, back.LowKcal, back.HighKcal, waterBackWords(back)),
		findings: []Finding{why, {
			Code: CodeWaterBack, Severity: Info, Sentence: waterBackWords(back),
			Numbers: []Number{{"regain_low_kg", back.RegainLowKg, "kg"}, {"regain_high_kg", back.RegainHighKg, "kg"}},
		}},
		proposed: &t,
		back:     back,
	}
}
