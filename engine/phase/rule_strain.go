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
