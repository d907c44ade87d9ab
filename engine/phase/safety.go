package phase

import "example.com/steelyard/engine"

// safetyRule looks for one reason why no deficit may be computed.
type safetyRule struct {
	name string
	ask  func(f *facts) (Finding, bool)
}

// safetyRules are all asked, and any one of them refers.
func safetyRules() [8]safetyRule {
	return [...]safetyRule{
		{"underage", underage},
		{"declared-condition", declaredCondition},
		{"underweight", underweight},
		{"goal-underweight", goalUnderweight},
		{"goal-too-lean", goalTooLean},
		{"warning-sign", warningSign},
		{"unexplained-loss", unexplainedLoss},
		{"referral-recorded", referralRecorded},
	}
}

func (f *facts) safetyFindings() []Finding {
	var found []Finding
	for _, rule := range safetyRules() {
		if x, ok := rule.ask(f); ok {
			x.Severity = Warning
			found = append(found, x)
		}
	}
	return found
}

// refer is the verdict of any safety finding.
func refer(found []Finding) verdict {
	return verdict{
		action:   engine.Refer,
		findings: found,
		headline: found[0].Sentence + " No targets are given: please ask a doctor or another licensed professional first.",
	}
}
