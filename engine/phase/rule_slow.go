package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// tooSlow lowers the energy balance by the answer of the plan's method.
func tooSlow(f *facts) (verdict, bool) {
	a := f.deciding()
	if a == nil {
		return f.noLine(), true
	}
	if a.Action != engine.LowerBalance {
		return verdict{}, false
	}
	return verdict{
		action:     engine.LowerBalance,
		changeKcal: a.ChangeKcal.V,
		foodShare:  foodShareDown,
		findings: []Finding{{
			Code: CodeTooSlow, Severity: Notice, Sentence: a.Sentence,
			Numbers: []Number{
				{"rate_pct_per_week", f.estimate.RatePctPerWeek, "%/week"},
				{"probability_too_slow", f.pSlow(), "1"},
				{"change_kcal", a.ChangeKcal.V, "kcal/d"},
			},
		}},
	}, true
}

func (f *facts) slowHeadline(c *LeverChange) string {
	if f.plan.Method == engine.PracticeTable {
		return fmt.Sprintf("%s Lower the balance: %s.", f.deciding().Sentence, changeWords(c))
	}
	return fmt.Sprintf("The tendency is %s; the chance that it is under %.2f is %s%s. Lower the balance: %s.",
		f.rateWords(), f.slowPctPerWeek(), chanceWords(f.pSlow()), worthWords(f.pSlow()), changeWords(c))
}
