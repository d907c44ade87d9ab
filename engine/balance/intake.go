package balance

// eater keeps what is known of how a trainee eats: how far logged intake lies
// from the target, and the mean of what was logged.
type eater struct {
	guessKcal float64 // stands in until something was logged

	overSum, overWeight float64 // of logged/target - 1, non-refeed days that had a target
	kcalSum, kcalWeight float64 // of logged kcal, non-refeed days
}

const (
	// eaterMemory is the weight left to a logged day by the next one: about a
	// month counts. Fitted on the virtual cohort.
	eaterMemory = 0.97
	// eaterPrior is how many days of eating exactly to target the deviation
	// starts from. Fitted on the virtual cohort.
	eaterPrior = 7
	// minTargetKcal is the least target that a day can be compared with, so
	// that a wrong one does not make the deviation explode.
	minTargetKcal = 400
)

// over returns the expected share by which intake exceeds the target; it is
// shrunk towards 0 while few days are logged.
func (e *eater) over() float64 { return e.overSum / (e.overWeight + eaterPrior) }

// usualKcal returns the mean of the logged days, the recent ones weighing more,
// or the guess while nothing is logged.
func (e *eater) usualKcal() float64 {
	if e.kcalWeight == 0 {
		return e.guessKcal
	}
	return e.kcalSum / e.kcalWeight
}

// ate returns the intake of a day that is over. A logged day is what was
// logged. Otherwise it is the day's target (a refeed's own, where given) with
// the usual deviation, or the usual intake where there was no target; planKcal
// is that intake without the deviation.
func (e *eater) ate(d *Input) (kcal, planKcal float64, isLogged bool) {
	plan, over := e.usualKcal(), 0.0
	if d.TargetKcal.OK {
		plan, over = d.TargetKcal.V, e.over()
	}
	if d.IsRefeed && d.RefeedKcal.OK {
		plan, over = d.RefeedKcal.V, e.over()
	}
	if d.IntakeKcal.OK {
		return d.IntakeKcal.V, plan, true
	}
	return plan * (1 + over), plan, false
}

// learn takes in a day that is over. Days not logged teach nothing, and
// neither do refeeds: they say nothing about ordinary days.
func (e *eater) learn(d *Input) {
	if !d.IntakeKcal.OK || d.IsRefeed {
		return
	}
	e.kcalSum = eaterMemory*e.kcalSum + d.IntakeKcal.V
	e.kcalWeight = eaterMemory*e.kcalWeight + 1
	if d.TargetKcal.OK && d.TargetKcal.V >= minTargetKcal {
		e.overSum = eaterMemory*e.overSum + d.IntakeKcal.V/d.TargetKcal.V - 1
		e.overWeight = eaterMemory*e.overWeight + 1
	}
}
