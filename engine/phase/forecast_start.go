package phase

import (
	"math"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
	"example.com/steelyard/engine/physiology"
)

// forecaster is what all courses share: the body that the model starts from and
// how kcal of the log become kcal of the model.
//
// The plan counts in logged kcal, the model in true ones:
//
//	model intake = model maintenance + ratio (logged intake - rested maintenance)
//
// so that the two maintenances agree at the start, and with the ratio such that
// a logged kcal moves the weight at the start as much as the filter, on whose
// word the plan's targets rest, has it.
type forecaster struct {
	facts   *facts
	goal    Goal
	trendKg float64
	from    engine.Day // when the deficit begins
	fat     startFat

	model      physiology.BodyModel
	start      physiology.BodyState
	restedKcal float64 // maintenance, logged kcal/d, without the adaptation that the cut so far has brought
	ratio      float64 // model kcal a logged kcal

	baseKcal  float64 // prescribed activity that is there whatever the pace, kcal/d
	capKcal   float64 // and the most of it
	leastKcal float64 // intake that the plan does not go under where it leaves food as it is; 0 otherwise

	spread spread
}

// spread is what makes a range of a course, as standard deviations.
type spread struct {
	intakeKcal float64 // the mean of four weeks about what is asked for, maintenance's error included
	trendKg    float64 // the present trend weight
	goalKg     float64
}

// intakeSD is how far the mean intake of four weeks lies from the plan, kcal/d:
// that of balance's forecast, chosen on weight series of real people.
const intakeSD = 200

// startFat is the body fat that the model starts from, kg.
type startFat struct {
	kg         engine.Opt
	isMeasured bool
}

// forecaster sets the model up. It is false where the model does not cover the
// trainee. There are an estimate, a sex, a birth date and a height by then.
func (f *facts) forecaster(goal Goal) (*forecaster, bool) {
	e := f.estimate
	fc := &forecaster{
		facts: f, goal: goal, trendKg: e.TrendWeightKg, from: f.deficitFrom(), fat: f.startFat(goal),
		spread: spread{
			intakeKcal: math.Hypot(e.MaintenanceSDKcal, intakeSD),
			trendKg:    e.TrendWeightSDKg,
			goalKg:     goal.WeightSDKg.Or(0),
		},
	}
	fc.setLevers()
	age, _ := f.age()
	resting := physiology.RestingMifflinOriginal(f.profile.Sex, fc.trendKg, f.profile.HeightCm.V, age)
	if !resting.OK || !(f.guess.Kcal > 0) {
		return nil, false
	}
	adapted := f.adaptationKcal(e.MaintenanceKcal)
	fc.restedKcal = e.MaintenanceKcal - adapted/(1-thermicShare)
	trackedShare := f.guess.TrackedKcal() / f.guess.Kcal
	model, ok := physiology.NewBodyModel(physiology.BodyStart{
		Sex: f.profile.Sex, AgeYears: age, WeightKg: fc.trendKg, HeightCm: f.profile.HeightCm.V, FatKg: fc.fat.kg,
		PAL: clamp(fc.restedKcal/trackedShare/resting.V, leastPAL, mostPAL),
	})
	if !ok {
		return nil, false
	}
	fc.model, fc.start = model, model.Start()
	density, ok := kcalPerKg(fc.start.FatKg)
	if !ok {
		return nil, false
	}
	filterDensity := 700 / (fc.trendKg * balance.PctPerWeekPerKcal(fc.trendKg))
	fc.ratio = density / filterDensity
	fc.start.AdaptationKcal = fc.ratio * adapted
	return fc, true
}

// The activity levels that the model starts from, within its range: a log that
// misses much of the food makes maintenance look like less than lying still.
const leastPAL, mostPAL = 1.2, 2.4

// setLevers notes what the plan lets be changed.
func (fc *forecaster) setLevers() {
	f := fc.facts
	fc.baseKcal = min(f.present.ActivityKcal, f.plan.ActivityCapKcal)
	fc.capKcal = fc.baseKcal
	if f.plan.ActivityLever {
		fc.capKcal = f.plan.ActivityCapKcal
		fc.baseKcal = min(max(fc.baseKcal, f.plan.BaseActivityKcal), fc.capKcal)
	}
	if !f.plan.FoodLever {
		fc.leastKcal = f.expected().IntakeKcal
	}
}

// deficitFrom is when the deficit begins or goes on: today, or after what is
// left of the maintenance test or of a break.
func (f *facts) deficitFrom() engine.Day {
	switch stage := stageByPlan(f.plan, f.asOf); {
	case stage == MaintenanceTest || stage == NotStarted && !f.plan.SkipMaintenanceTest:
		return max(f.asOf, f.plan.Start+testDays)
	case stage == NotStarted:
		return f.plan.Start
	case stage == DietBreak:
		return max(f.asOf, f.arc.breakStart.Day+breakDays)
	}
	return f.asOf
}

// startFat is measured body fat, or that of the body mass index.
func (f *facts) startFat(goal Goal) startFat {
	kg := f.estimate.TrendWeightKg
	if goal.BodyFatPct.OK {
		return startFat{engine.Some(goal.BodyFatPct.V / 100 * kg), true}
	}
	age, _ := f.age()
	bmi := physiology.BMI(kg, f.profile.HeightCm.V)
	if e, ok := physiology.BodyFatByBMI(f.profile.Sex, bmi.V, age); ok {
		return startFat{engine.Some(e.Pct / 100 * kg), false}
	}
	return startFat{}
}

// Adaptation of expenditure follows a change of intake by 14 % within two weeks,
// and 10 % of one is spent on digesting it. Source: Hall KD et al., Lancet
// 2011;378:826-837; as in the filter and the model.
const (
	adaptShare   = 0.14
	adaptDays    = 14
	thermicShare = 0.10
)

// adaptationKcal is by how much expenditure has followed the intake of the log
// so far, kcal/d, negative in a cut: the 14 % of every day's distance from
// rested maintenance, fading over two weeks. Rested maintenance itself is the
// present one without it,
//
//	rested = maintenance - adaptation/0.9
//
// which is solved for the adaptation. A day neither logged nor with a target
// counts as one at maintenance.
func (f *facts) adaptationKcal(maintenanceKcal float64) float64 {
	kcal, weight := 0.0, 0.0
	for _, d := range balance.Inputs(f.window, &f.plan, f.asOf) {
		kcal -= kcal / adaptDays
		weight -= weight / adaptDays
		eaten := d.IntakeKcal
		if !eaten.OK {
			eaten = d.TargetKcal
		}
		if eaten.OK {
			kcal += eaten.V / adaptDays
			weight += 1.0 / adaptDays
		}
	}
	return adaptShare * (kcal - weight*maintenanceKcal) / (1 - adaptShare*weight/(1-thermicShare))
}

// kcalPerKg is the energy of a small change of weight at a fat mass, by its lean
// share on the Forbes curve.
func kcalPerKg(fatKg float64) (float64, bool) {
	lean := physiology.ForbesLeanShare(fatKg)
	return physiology.MassChange{FatKg: 1 - lean.V, LeanKg: lean.V}.KcalPerKg(), lean.OK
}
