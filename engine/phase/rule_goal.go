package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// goalReached brings a plan back up to maintenance once the trend, as it would
// be there with its water back, is at the goal.
func goalReached(f *facts) (verdict, bool) {
	goal := f.goal()
	if !goal.WeightKg.OK || f.estimate.TrendWeightKg > goal.WeightKg.V {
		return verdict{}, false
	}
	sentence := fmt.Sprintf("The trend of %.1f kg has reached the goal of %.1f kg.", f.estimate.TrendWeightKg, goal.WeightKg.V)
	numbers := []Number{{"trend_weight_kg", f.estimate.TrendWeightKg, "kg"}, {"goal_weight_kg", goal.WeightKg.V, "kg"}}
	if goal.Kind == GoalBodyFat {
		sentence = fmt.Sprintf("At a trend of %.1f kg the body fat is put at %.0f %%, give or take %.0f: the goal of %g %% is reached.",
			f.estimate.TrendWeightKg, goal.BodyFatPct.V, goal.BodyFatSEPct.V, f.plan.GoalBodyFatPct.V)
		numbers = append(numbers, Number{"body_fat_pct", goal.BodyFatPct.V, "%"}, Number{"body_fat_se_pct", goal.BodyFatSEPct.V, "%"})
	}
	return f.comeBack(Finding{Code: CodeGoalReached, Severity: Notice, Sentence: sentence, Numbers: numbers}), true
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
