package physiology

import (
	"math"

	"example.com/steelyard/engine"
)

// BodyDay is what a body meets on one day.
type BodyDay struct {
	IntakeKcal float64 // kcal/d, 0..20000
	// CarbKcal of the intake are carbohydrate. Unknown means the half that is
	// assumed of the start.
	CarbKcal engine.Opt
	// SodiumChangeMg is sodium eaten beyond that of the start, mg/d, within
	// -10000..10000.
	SodiumChangeMg float64
	// ActivityKcalPerKg is activity beyond that of the start, in kcal/d and kg of
	// body weight, within -50..50.
	ActivityKcalPerKg float64
}

const (
	maxModelKcal    = 20_000
	stepsPerDay     = 10
	daysPerStep     = 1.0 / stepsPerDay
	maxSodiumMg     = 10_000
	maxActivityKcal = 50 // a kg
)

// Day carries a body over one day, by ten steps of the classical Runge-Kutta
// method, which agree with an adaptive integrator to 1e-6 kg:
//
//	glycogen'   = (CI - kG glycogen^2)/rhoG
//	fluid'      = (sodium change - 3000 (fluid - fluid0) - 4000 (1 - CI/CI0))/3220
//	adaptation' = (0.14 dI - adaptation)/14
//	fat'  = (1-p) S/rhoF,  lean' = p S/rhoL,  p = C/(C + fat)
//	S = (I - (K + 3.1 fat + 22.0 lean + delta weight + 0.1 dI + adaptation) - rhoG glycogen')
//	    / (1 + 229 p/rhoL + 179 (1-p)/rhoF)
//
// I intake, dI its distance from that of the start, CI the carbohydrate in it,
// CI0 that of the start, rho the energy densities of this package, C =
// 10.4 rhoL/rhoF kg. It allocates nothing. It is false when the day lies outside
// its ranges (which are ours), when more carbohydrate than intake is eaten, and
// when the body before or after is one that no person has.
//
// Source: as for the constants, and Chow CC, Hall KD, PLoS Comput Biol
// 2008;4:e1000045 for p. The glycogen flux enters S in kcal, as the appendix has
// it; an open implementation in R adds it in kg and is off by 0.03 kg for that.
func (m BodyModel) Day(s BodyState, d BodyDay) (BodyState, bool) {
	if !d.isPossible() || !s.isPossible() {
		return BodyState{}, false
	}
	const h = daysPerStep
	for range stepsPerDay {
		k1 := m.rates(s, d)
		k2 := m.rates(s.plus(k1, h/2), d)
		k3 := m.rates(s.plus(k2, h/2), d)
		k4 := m.rates(s.plus(k3, h), d)
		s = s.plus(k1, h/6).plus(k2, h/3).plus(k3, h/3).plus(k4, h/6)
	}
	if !s.isPossible() {
		return BodyState{}, false
	}
	return s, true
}

// ExpenditureKcal is what a body spends on a day, in kcal/d, the cost of laying
// down or breaking down tissue with it:
//
//	I - rhoF fat' - rhoL lean' - rhoG glycogen'
//
// Unknown where Day is false for the state or the day.
func (m BodyModel) ExpenditureKcal(s BodyState, d BodyDay) engine.Opt {
	if !d.isPossible() || !s.isPossible() {
		return engine.Opt{}
	}
	r := m.rates(s, d)
	return engine.Some(d.IntakeKcal - FatKcalPerKg*r.FatKg - LeanKcalPerKg*r.LeanKg - GlycogenKcalPerKg*r.GlycogenKg)
}

// rates returns the change a day of each part of the state.
func (m BodyModel) rates(s BodyState, d BodyDay) BodyState {
	change := d.IntakeKcal - m.intakeKcal
	carbs := d.CarbKcal.Or(carbShare * d.IntakeKcal)
	carbsAtStart := carbShare * m.intakeKcal
	var r BodyState
	r.GlycogenKg = (carbs - m.glycogenUse*s.GlycogenKg*s.GlycogenKg) / GlycogenKcalPerKg
	r.FluidKg = (d.SodiumChangeMg - fluidSodiumMg*(s.FluidKg-m.start.FluidKg) - carbSodiumMg*(1-carbs/carbsAtStart)) / sodiumMgPerKg
	r.AdaptationKcal = (adaptShare*change - s.AdaptationKcal) / adaptDays

	spent := m.constKcal + fatUpkeepKcal*s.FatKg + leanUpkeepKcal*s.LeanKg +
		(m.activity+d.ActivityKcalPerKg)*s.WeightKg() + thermicShare*change + s.AdaptationKcal
	p := partitionKg / (partitionKg + s.FatKg)
	stored := (d.IntakeKcal - spent - GlycogenKcalPerKg*r.GlycogenKg) / (1 + leanBuildKcal*p/LeanKcalPerKg + fatBuildKcal*(1-p)/FatKcalPerKg)
	r.FatKg = (1 - p) * stored / FatKcalPerKg
	r.LeanKg = p * stored / LeanKcalPerKg
	return r
}

// plus returns the state after so many days at the rates.
func (s BodyState) plus(r BodyState, days float64) BodyState {
	return BodyState{
		FatKg:          s.FatKg + days*r.FatKg,
		LeanKg:         s.LeanKg + days*r.LeanKg,
		GlycogenKg:     s.GlycogenKg + days*r.GlycogenKg,
		FluidKg:        s.FluidKg + days*r.FluidKg,
		AdaptationKcal: s.AdaptationKcal + days*r.AdaptationKcal,
	}
}

func (d BodyDay) isPossible() bool {
	return d.IntakeKcal >= 0 && d.IntakeKcal <= maxModelKcal &&
		(!d.CarbKcal.OK || d.CarbKcal.V >= 0 && d.CarbKcal.V <= d.IntakeKcal) &&
		math.Abs(d.SodiumChangeMg) <= maxSodiumMg && math.Abs(d.ActivityKcalPerKg) <= maxActivityKcal
}
