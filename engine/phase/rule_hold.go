package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// hold is what is left when no rule asks for anything: on track, or not
// clearly off it.
func (f *facts) hold() verdict {
	e := f.estimate
	pIn := max(0, 1-e.PBelowBand-e.PAboveBand)
	code, words := CodeNotClearlyOffTrack, f.trackWords()
	if words == onTrack {
		code = CodeOnTrack
	}
	headline := fmt.Sprintf("The tendency is %s, %s: the chance that it is between %.2f and %.2f is %s. Change nothing.",
		f.rateWords(), words, f.plan.BandLowPctPerWeek, f.plan.BandHighPctPerWeek, chanceWords(pIn))
	if f.plan.Method == engine.PracticeTable {
		headline = f.deciding().Sentence + " Change nothing."
	}
	return verdict{
		action:   engine.Hold,
		headline: headline,
		findings: []Finding{{
			Code: code, Severity: Info, Sentence: f.deciding().Sentence,
			Numbers: []Number{{"rate_pct_per_week", e.RatePctPerWeek, "%/week"}, {"probability_in_band", pIn, "1"}},
		}},
	}
}

const onTrack = "on track"

// trackWords says how a loss that asks for no change lies.
func (f *facts) trackWords() string {
	if r := f.estimate.RatePctPerWeek; r >= f.plan.BandLowPctPerWeek && r <= f.plan.BandHighPctPerWeek {
		return onTrack
	}
	return "not clearly off track"
}
