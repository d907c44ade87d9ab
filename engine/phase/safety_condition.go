package phase

import (
	"strings"

	"example.com/steelyard/engine"
)

var conditionNames = []struct {
	of   engine.Condition
	name string
}{
	{engine.Pregnant, "pregnancy"},
	{engine.Breastfeeding, "breastfeeding"},
	{engine.EatingDisorder, "an eating disorder, past or present"},
	{engine.GlucoseLoweringMedication, "glucose-lowering medication"},
	{engine.KidneyDisease, "kidney disease"},
	{engine.HeartDisease, "heart disease"},
}

// declaredCondition refers a trainee with any declared condition, also one
// that this version does not know by name. Source: clinical common sense, no
// single publication; local rules come first.
func declaredCondition(f *facts) (Finding, bool) {
	if f.profile.Conditions == 0 {
		return Finding{}, false
	}
	var names []string
	for _, c := range conditionNames {
		if f.profile.Conditions.Has(c.of) {
			names = append(names, c.name)
		}
	}
	if len(names) == 0 {
		names = []string{"a state of health"}
	}
	return Finding{
		Code:     CodeCondition,
		Sentence: "The profile declares " + strings.Join(names, " and ") + ", with which a deficit belongs in professional hands.",
	}, true
}
