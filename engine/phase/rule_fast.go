package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// tooFast gives food back: when the filter is sure enough that the loss is
// over the band, whichever method the plan goes by, or when the table says so
// in a plan that goes by it.
func tooFast(f *facts) (verdict, bool) {
	a := f.judge().posterior
	if a.Action != engine.RaiseBalance {
		if a = f.deciding(); a == nil || a.Action != engine.RaiseBalance {
			return verdict{}, false
		}
	}
	return verdict{
		action:     engine.RaiseBalance,
		changeKcal: a.ChangeKcal.V,
		foodShare:  foodShare,
		findings: []Finding{{
			Code: CodeTooFast, Severity: Warning, Sentence: a.Sentence,
			Numbers: []Number{
				{"rate_pct_per_week", f.estimate.RatePctPerWeek, "%/week"},
				{"probability_over_band", f.pOverBand(), "1"},
				{"change_kcal", a.ChangeKcal.V, "kcal/d"},
			},
		}},
	}, true
}

func (f *facts) fastHeadline(c *LeverChange) string {
	if f.judge().posterior.Action != engine.RaiseBalance { // so the table decided
		return fmt.Sprintf("%s Give some back: %s.", f.deciding().Sentence, changeWords(c))
	}
	return fmt.Sprintf("The tendency is %s; the chance that it is over %.2f is %s%s. Give some back: %s.",
		f.rateWords(), f.plan.BandHighPctPerWeek, chanceWords(f.pOverBand()), worthWords(f.pOverBand()), changeWords(c))
}
