package phase

import "example.com/steelyard/engine"

// verdict is what a rule decides.
type verdict struct {
	action   engine.Action
	headline string
	findings []Finding

	// changeKcal is the food, in kcal/d, that the energy balance is to move by:
	// negative to lower it. 0 leaves the target as it is.
	changeKcal float64
	foodShare  float64 // of a change of food that shows up in the balance
	// proposed is a target that is set as it is, without lever options.
	proposed *engine.Target
	// askAgainDays is when to ask again where the calendar does not say; 0 leaves it to the calendar.
	askAgainDays engine.Day
}

// rule decides, or leaves it to the next one.
type rule func(f *facts) (verdict, bool)

// rules are asked in this order, after the safety rules; the first that
// decides ends the asking. What asks for less food comes last; after all of
// them it is hold.
func rules() []rule {
	return []rule{
		profileIncomplete,
		planNotValid,
		notStarted,
		targetUnderFloor,
		noReviewDue,
		notEnoughData,
		goalReached,
		openCut,
		targetNotMet,
		tooFast,
		tooSlow,
	}
}
