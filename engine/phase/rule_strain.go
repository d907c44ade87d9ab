package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// strainHigh answers check-ins that say the plan is hard to bear, the mildest
// help first: a slower pace, then refeeds or more of them while the loss is on
// track, then a diet break.
func strainHigh(f *facts) (verdict, bool) {
	s := f.strain()
	if !s.IsHigh {
		return verdict{}, false
	}
	why := Finding{
		Code: CodeStrainHigh, Severity: Notice,
		Sentence: fmt.Sprintf("The check-ins of the last two weeks average %.1f of 5: this is hard to bear as it is.", s.Mean.V),
		Numbers:  []Number{{"mean_score", s.Mean.V, "1"}, {"check_ins", float64(s.CheckIns), "1"}},
	}
	if !f.arc.eased.OK {
		return f.ease(why), true
	}
	if a := f.deciding(); a != nil && a.Action == engine.Hold {
		if p, _ := f.proposeRefeeds(); p != nil {
			return f.refeedVerdict(p, why), true
		}
	}
	return f.takeBreak(why), true
}

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

// slog answers the first-month question: a first month that was a slog went
// too fast. It eases once; what is eased already is left to the check-ins.
func slog(f *facts) (verdict, bool) {
	if f.strain().WasSlog != engine.Yes || f.arc.eased.OK {
		return verdict{}, false
	}
	return f.ease(Finding{Code: CodeSlog, Severity: Notice, Sentence: "The last weeks were a slog, so the pace was too fast for now."}), true
}
