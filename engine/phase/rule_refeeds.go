package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// changeRefeeds starts refeeds, or brings them more often, while the loss is on
// track.
func changeRefeeds(f *facts) (verdict, bool) {
	if a := f.deciding(); a == nil || a.Action != engine.Hold {
		return verdict{}, false
	}
	p, _ := f.proposeRefeeds()
	if p == nil {
		return verdict{}, false
	}
	return f.refeedVerdict(p, Finding{
		Code: CodeRefeedsDue, Severity: Notice,
		Sentence: fmt.Sprintf("The cut has run for %d days and the loss is %s.", f.cutDay(), f.trackWords()),
		Numbers:  []Number{{"cut_days", float64(f.cutDay()), "d"}},
	}), true
}

func (f *facts) refeedVerdict(p *RefeedProposal, why Finding) verdict {
	t := p.Target
	return verdict{
		action: engine.ChangeRefeeds,
		headline: fmt.Sprintf("%s One day in %d may be a refeed of about %.0f kcal, with %.0f kcal on the other days, so that the mean stays at %.0f. "+
			"The scale may be up by %.1f to %.1f kg of water; read it again after %d mornings.",
			why.Sentence, t.Refeed.EveryDays, t.Refeed.IntakeKcal, t.IntakeKcal, p.MeanIntakeKcal, p.BumpLowKg, p.BumpHighKg, p.ReadAgainDays),
		findings: []Finding{why},
		proposed: &t,
		refeeds:  p,
	}
}
