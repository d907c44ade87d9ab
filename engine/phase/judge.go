package phase

import (
	"fmt"
	"math"

	"example.com/steelyard/engine"
)

// answers are both methods' answers to one review.
type answers struct {
	posterior *MethodAnswer
	practice  *MethodAnswer // nil without a line
}

// judge asks both methods, of the opening cut or of a review in the cut. There
// is an estimate by then.
func (f *facts) judge() *answers {
	if f.answers == nil {
		f.answers = &answers{}
		if f.isOpening() {
			f.answers.posterior, f.answers.practice = f.posteriorOpening(), f.practiceOpening()
		} else {
			f.answers.posterior, f.answers.practice = f.posteriorReview(), f.practiceReview()
		}
	}
	return f.answers
}

// isOpening reports whether the cut has yet to begin, or to go on after a break.
func (f *facts) isOpening() bool { return !f.arc.cut.OK || f.arc.breakStart.OK }

// deciding is the answer of the plan's own method; nil when it has none.
func (f *facts) deciding() *MethodAnswer {
	if f.plan.Method == engine.PracticeTable {
		return f.judge().practice
	}
	return f.judge().posterior
}

// alikePct is how close two changes are the same to a coach, % of intake; our own.
const alikePct = 2.5

// whyDiffer says why the two disagree; empty when they do not.
func (a *answers) whyDiffer() string {
	if a == nil || a.practice == nil {
		return ""
	}
	size := math.Abs(a.posterior.ChangePct.V - a.practice.ChangePct.V)
	if a.posterior.Action == a.practice.Action && size < alikePct {
		return ""
	}
	line := ""
	if se := a.practice.RateSEPctPerWeek; se.OK {
		line = fmt.Sprintf(", uncertain by %.2f %% a week and more", se.V)
	}
	return fmt.Sprintf("The table reads a line through a few days of scale weight, water included%s. "+
		"The filter weighs all readings together with the logged intake, and is uncertain by %.2f %% a week.",
		line, a.posterior.RateSEPctPerWeek.V)
}
