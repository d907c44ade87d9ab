package phase

import "example.com/steelyard/engine"

// verdict is what a rule decides.
type verdict struct {
	rule     string // which rule; empty for hold
	action   engine.Action
	headline string
	findings []Finding

	// changeKcal is the food, in kcal/d, that the energy balance is to move by:
	// negative to lower it. 0 leaves the target as it is.
	changeKcal float64
	foodShare  float64 // of a change of food that shows up in the balance
	// proposed is a target that is set as it is, without lever options.
	proposed *engine.Target
	refeeds  *RefeedProposal
	back     *MaintenanceReturn
	// askAgainDays is when to ask again where the calendar does not say; 0 leaves it to the calendar.
	askAgainDays engine.Day
}

// rule decides, or leaves it to the next one.
type rule struct {
	name string
	ask  func(f *facts) (verdict, bool)
}

// rules are asked in this order, after the safety rules; the first that
// decides ends the asking. What asks for less food comes after all that speaks
// against it; after all of them it is hold.
func rules() [20]rule {
	return [...]rule{
		{"profile-incomplete", profileIncomplete},
		{"plan-not-valid", planNotValid},
		{"not-started", notStarted},
		{"finished", finished},
		{"target-under-floor", targetUnderFloor},
		{"no-review-due", noReviewDue},
		{"paused", paused},
		{"not-enough-data", notEnoughData},
		{"returning", returning},
		{"goal-reached", goalReached},
		{"open-cut", openCut},
		{"too-fast", tooFast},
		{"strength-falls", strengthFalls},
		{"strain-high", strainHigh},
		{"slog", slog},
		{"long-deficit", longDeficit},
		{"target-not-met", targetNotMet},
		{"too-slow", tooSlow},
		{"base-activity", addBaseActivity},
		{"refeeds", changeRefeeds},
	}
}

// Rules names the rules in the order in which they are asked, safety first.
func Rules() []string {
	var names []string
	for _, r := range safetyRules() {
		names = append(names, r.name)
	}
	for _, r := range rules() {
		names = append(names, r.name)
	}
	return names
}
