package phase

import "example.com/steelyard/engine"

// finished leaves a finished plan alone.
func finished(f *facts) (verdict, bool) {
	if f.stage != Finished {
		return verdict{}, false
	}
	sentence := "The plan was finished on " + f.arc.finished.Day.String() + "."
	return verdict{
		action:   engine.Finish,
		headline: sentence + " Nothing is to be lost any more; the plan can be closed. Weighing now and then keeps the ground that was gained.",
		findings: []Finding{{Code: CodePlanFinished, Severity: Info, Day: f.arc.finished, Sentence: sentence}},
	}, true
}
