package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// targetNotMet asks to meet the present target before it is lowered: when a
// lower one would be the answer and the logged days lie over the present one
// beyond their noise. Who is over the target and on track is left alone.
func targetNotMet(f *facts) (verdict, bool) {
	a := f.deciding()
	if a == nil || a.Action != engine.LowerBalance {
		return verdict{}, false
	}
	over := f.adherence()
	if over == nil || !over.IsOver {
		return verdict{}, false
	}
	kcal, days := over.OverPct/100*f.current.IntakeKcal, over.LoggedDays
	sentence := fmt.Sprintf("On the %d logged days the intake was about %.0f kcal a day over the target.", days, kcal)
	return verdict{
		action: engine.MeetTarget,
		headline: fmt.Sprintf("%s The present target of %.0f kcal a day still has room to work: nothing needs to be lowered before it has been tried. What would make it easier to meet?",
			sentence, f.current.IntakeKcal),
		findings: []Finding{{
			Code: CodeTargetNotMet, Severity: Notice, Sentence: sentence,
			Numbers: []Number{{"over_target_kcal", kcal, "kcal/d"}, {"logged_days", float64(days), "d"}},
		}},
	}, true
}
