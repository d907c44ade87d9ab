package phase

import (
	"fmt"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
)

// openCut ends the maintenance test or a diet break, or starts a plan without
// one: the opening cut by the plan's method.
func openCut(f *facts) (verdict, bool) {
	if !f.isOpening() {
		return verdict{}, false
	}
	a := f.deciding()
	if a == nil {
		return f.noLine(), true
	}
	v := verdict{action: engine.StartDeficit, changeKcal: a.ChangeKcal.Or(0), foodShare: foodShare}
	code := CodeCutStarts
	if f.arc.breakStart.OK {
		code = CodeBreakOver
	}
	v.findings = []Finding{{
		Code: code, Severity: Notice, Sentence: a.Sentence,
		Numbers: []Number{{"change_kcal", v.changeKcal, "kcal/d"}, {"maintenance_kcal", f.estimate.MaintenanceKcal, "kcal/d"}},
	}}
	if v.changeKcal == 0 {
		stay := f.target(f.present.IntakeKcal, f.present.ActivityKcal)
		v.proposed = &stay
		v.headline = fmt.Sprintf("The present intake is a cut already: at %.0f kcal a day the tendency is %s. %s there.",
			stay.IntakeKcal, f.rateWords(), f.startWords())
	}
	return v, true
}

// openHeadline tells the opening cut with the target that came of it.
func (f *facts) openHeadline(c *LeverChange) string {
	expected := f.estimate.RatePctPerWeek +
		(walkShare*c.ActivityKcalPerDay-foodShare*c.FoodKcalPerDay)*balance.PctPerWeekPerKcal(f.estimate.TrendWeightKg)
	return fmt.Sprintf("%s at %s. That should come to %s once the first days of water are over.", f.startWords(), targetWords(c), lossWords(expected))
}

func (f *facts) startWords() string {
	if f.arc.breakStart.OK {
		return "The break has done its work: go on with the cut"
	}
	return "Start the cut"
}

// noLine is the verdict of the practice table where it has too few readings.
func (f *facts) noLine() verdict {
	sentence := fmt.Sprintf("The table needs a line through %d readings or more, and has fewer since the last change of intake.", tableLeast)
	return verdict{
		action:       engine.KeepLogging,
		headline:     "Not enough to judge yet. " + sentence,
		findings:     []Finding{{Code: CodeNoLine, Severity: Warning, Sentence: sentence}},
		askAgainDays: 1,
	}
}
