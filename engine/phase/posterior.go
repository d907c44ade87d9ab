package phase

import (
	"fmt"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
)

// The posterior method. Fitted on the virtual cohort, in closed loop, except
// where a line says otherwise.
const (
	// offP is how probable it has to be that the loss is under the band, or over
	// it, for a change. Waiting for 50-70 % was tried, and for 80-90 %, and is
	// worse: what a 5-10 % step too many costs is less than what a loss off the
	// band costs that goes on.
	offP = 0.36

	// A step's bounds in shares of the present intake: common practice, no source.
	stepLeast = 0.05
	stepMost  = 0.10
	// The opening cut's bounds in shares of the guess: common practice, no source.
	openLeast = 0.10
	openMost  = 0.25

	// foodShare of a change of intake is left in the balance after digestion and
	// adaptation follow it: in a step down, and otherwise.
	foodShareDown = 0.74
	foodShare     = 0.78
	walkShare     = balance.WalkShare
)

// slowPctPerWeek is the rate below which the plan's loss is too slow.
func (f *facts) slowPctPerWeek() float64 { return min(f.plan.BandLowPctPerWeek, f.pace) }

// pOverBand is the probability that the loss is faster than the band allows.
func (f *facts) pOverBand() float64 { return f.estimate.PAboveBand }

// pSlow is the probability that the loss is too slow.
func (f *facts) pSlow() float64 { return f.estimate.PRateBelow(f.slowPctPerWeek()) }

// kcalToPace is what the energy balance lacks of the pace, kcal/d; negative
// when the loss is faster.
func (f *facts) kcalToPace() float64 { return (f.pace - f.estimate.RatePctPerWeek) / f.perKcal() }

// perKcal is the rate, in % of body weight a week, that one kcal/d makes.
func (f *facts) perKcal() float64 { return balance.PctPerWeekPerKcal(f.estimate.TrendWeightKg) }

// posteriorReview is what the filter makes of a review in the cut: raise the
// balance when the loss is over the band with a probability of offP or more,
// lower it when it is too slow with as much, and hold otherwise. No change
// leads away from the pace: one that would, because the filter is unsure of a
// rate beyond it, is none. The step is what the pace lacks, within 5-10 % of the
// intake.
func (f *facts) posteriorReview() *MethodAnswer {
	a := f.posteriorAnswer(engine.Hold)
	intake, short := f.present.IntakeKcal, f.kcalToPace()
	switch {
	case f.pOverBand() >= offP && short < 0:
		a.Action = engine.RaiseBalance
		a.setChange(clamp(-short/foodShare, stepLeast*intake, stepMost*intake), intake)
	case f.pSlow() >= offP && short > 0:
		a.Action = engine.LowerBalance
		a.setChange(-clamp(short/foodShareDown, stepLeast*intake, stepMost*intake), intake)
	}
	a.Sentence = fmt.Sprintf("The filter sees %s; the chance that it is under %.2f is %s, over %.2f it is %s.",
		f.rateWords(), f.slowPctPerWeek(), chanceWords(f.pSlow()), f.plan.BandHighPctPerWeek, chanceWords(f.pOverBand()))
	return a
}

// posteriorOpening is the intake whose predicted rate, with the base activity
// to come, is the plan's pace, as a change from the present intake within
// 10-25 % of the maintenance guess. The lower bound yields where it would make
// the loss faster than the band: then the pace decides, and no cut at all is
// possible, for a trainee who is losing already.
func (f *facts) posteriorOpening() *MethodAnswer {
	a := f.posteriorAnswer(engine.StartDeficit)
	cut := (f.kcalToPace() - walkShare*f.activityToCome()) / foodShare
	bounded := clamp(cut, openLeast*f.guess.Kcal, openMost*f.guess.Kcal)
	if cut < bounded && f.rateAfterCut(bounded) > f.plan.BandHighPctPerWeek {
		bounded = max(cut, 0)
	}
	a.setChange(-bounded, f.present.IntakeKcal)
	a.Sentence = fmt.Sprintf("The filter sees %s at the present intake and maintenance at %.0f kcal a day, give or take %.0f; the pace of %.2f asks for %.0f kcal a day less food.",
		f.rateWords(), f.estimate.MaintenanceKcal, f.estimate.MaintenanceSDKcal, f.pace, bounded)
	return a
}

// activityToCome is the base activity that the plan still adds, kcal/d.
func (f *facts) activityToCome() float64 {
	if !f.plan.ActivityLever {
		return 0
	}
	return max(f.plan.BaseActivityKcal-f.present.ActivityKcal, 0)
}

// rateAfterCut predicts the rate, % of body weight a week, after kcal/d less food.
func (f *facts) rateAfterCut(kcal float64) float64 {
	return f.estimate.RatePctPerWeek + foodShare*kcal*f.perKcal()
}

func (f *facts) posteriorAnswer(action engine.Action) *MethodAnswer {
	return &MethodAnswer{
		Method:           engine.Posterior,
		Action:           action,
		RatePctPerWeek:   f.estimate.RatePctPerWeek,
		RateSEPctPerWeek: engine.Some(f.estimate.RateSDPctPerWeek),
	}
}

// setChange notes a change of food in kcal/d; negative is less.
func (a *MethodAnswer) setChange(kcal, intakeKcal float64) {
	a.ChangeKcal = engine.Some(kcal)
	if intakeKcal > 0 {
		a.ChangePct = engine.Some(100 * kcal / intakeKcal)
	}
}

func clamp(v, low, high float64) float64 { return min(max(v, low), high) }
