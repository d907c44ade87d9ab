package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// goalReached asks for no further loss once the trend, as it would be at
// maintenance with its water back, is at the goal weight.
func goalReached(f *facts) (verdict, bool) {
	goal := f.plan.GoalWeightKg
	if !goal.OK || f.estimate.TrendWeightKg > goal.V {
		return verdict{}, false
	}
	sentence := fmt.Sprintf("The trend of %.1f kg has reached the goal of %.1f kg.", f.estimate.TrendWeightKg, goal.V)
	return verdict{
		action:   engine.Hold,
		headline: sentence + " Nothing more is to be lost under this plan: close it, or talk about what comes next.",
		findings: []Finding{{
			Code: CodeGoalReached, Severity: Notice, Sentence: sentence,
			Numbers: []Number{{"trend_weight_kg", f.estimate.TrendWeightKg, "kg"}, {"goal_weight_kg", goal.V, "kg"}},
		}},
	}, true
}
