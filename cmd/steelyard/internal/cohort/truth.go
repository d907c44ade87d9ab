package cohort

import "example.com/steelyard/engine/physiology"

// trueRate is the tissue loss, in % of body weight a week, that the present
// ordinary-day prescription makes at the present fat, lean tissue, adaptation
// and habits: the mean of a week's days, refeeds left out, once glycogen has
// settled.
func (l *life) trueRate() float64 {
	t := l.present()
	loss := -l.stored(l.eatenAt(t.IntakeKcal), t.ActivityKcal)
	lean := l.leanEnergyShare()
	kg := loss * (lean/physiology.LeanKcalPerKg + (1-lean)/physiology.FatKcalPerKg)
	return 700 * kg / l.body.WeightKg()
}

// trueMaintenance is the logged intake, in kcal/d, at which tissue would hold
// today with no prescribed activity.
func (l *life) trueMaintenance() float64 {
	// What is stored is very nearly a line in the target.
	low, high := 0.5*l.guessKcal(), 1.5*l.guessKcal()
	for range 4 {
		a, b := l.stored(l.eatenAt(low), 0), l.stored(l.eatenAt(high), 0)
		zero := low - a*(high-low)/(b-a)
		low, high = zero-20, zero+20
	}
	return l.loggedAt((low + high) / 2)
}

// eatenAt is the mean true intake under a target, kcal/d.
func (l *life) eatenAt(targetKcal float64) float64 {
	eaten := targetKcal*(1+weekendDays*l.weekend) + l.eatenBack(targetKcal)
	return eaten/(1-l.under) + l.slipsPerDay*meanSlipKcal + l.appetite()
}

// loggedAt is the mean of what is logged under a target, kcal/d.
func (l *life) loggedAt(targetKcal float64) float64 {
	return targetKcal*(1+weekendDays*l.weekend*l.loggedWeekend) + l.loggedWeekend*l.eatenBack(targetKcal)
}

// stored is the energy left over at an intake, kcal/d; negative for a loss. For
// a day or two after a change glycogen takes or gives a part of it; then all of
// it is tissue.
func (l *life) stored(eaten, activityKcal float64) float64 {
	return eaten - l.model.ExpenditureKcal(l.body, l.bodyDay(eaten, activityKcal)).V
}

// leanEnergyShare is the share of a change's energy that is lean tissue.
func (l *life) leanEnergyShare() float64 {
	const c = physiology.ForbesKg * physiology.LeanKcalPerKg / physiology.FatKcalPerKg
	return l.leanShare * c / (c + l.body.FatKg)
}
