package phase

import "example.com/steelyard/engine"

// referralRecorded keeps referring while the last decision is a referral: it
// takes a new decision, of someone, to go on.
func referralRecorded(f *facts) (Finding, bool) {
	n := len(f.plan.Decisions)
	if n == 0 || f.plan.Decisions[n-1].Action != engine.Refer {
		return Finding{}, false
	}
	last := f.plan.Decisions[n-1]
	return Finding{
		Code:     CodeReferralRecorded,
		Day:      engine.SomeDay(last.From),
		Sentence: "A referral was decided on " + last.From.String() + " and no later decision has lifted it.",
	}, true
}
