package phase

import "fmt"

// longDeficit takes a break from a cut of twelve weeks without one when the
// check-ins are no better than middling. Twelve weeks and the middle of the
// scale: common practice, no source.
func longDeficit(f *facts) (verdict, bool) {
	s := f.strain()
	if f.cutDay() < longCutDays || !s.Mean.OK || s.Mean.V > middlingStrain {
		return verdict{}, false
	}
	return f.takeBreak(Finding{
		Code: CodeLongDeficit, Severity: Notice,
		Sentence: fmt.Sprintf("The cut has run for %d weeks without a break, and the check-ins average %.1f of 5.", f.cutDay()/7, s.Mean.V),
		Numbers:  []Number{{"cut_days", float64(f.cutDay()), "d"}, {"mean_score", s.Mean.V, "1"}},
	}), true
}
