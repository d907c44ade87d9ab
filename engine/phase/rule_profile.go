package phase

import (
	"strings"

	"example.com/steelyard/engine"
)

// profileIncomplete computes no deficit without a sex, a birth date and a
// height: the floors, the age limit and the body mass index need them.
func profileIncomplete(f *facts) (verdict, bool) {
	var missing []string
	if f.profile.Sex != engine.Female && f.profile.Sex != engine.Male {
		missing = append(missing, "sex")
	}
	if !f.profile.BirthDate.OK {
		missing = append(missing, "birth date")
	}
	if h := f.profile.HeightCm; !h.OK || !(h.V >= 100 && h.V <= 250) { // the range of the equations
		missing = append(missing, "height")
	}
	if len(missing) == 0 {
		return verdict{}, false
	}
	sentence := "The profile lacks " + strings.Join(missing, " and ") + "; without it no deficit can be computed safely."
	return verdict{
		action:       engine.KeepLogging,
		headline:     sentence + " Keep logging until it is filled in.",
		findings:     []Finding{{Code: CodeProfileIncomplete, Severity: Warning, Sentence: sentence}},
		askAgainDays: 1,
	}, true
}
