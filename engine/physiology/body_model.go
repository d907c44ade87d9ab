package physiology

import (
	"math"

	"example.com/steelyard/engine"
)

// Constants of the dynamic model of adult body weight.
//
// Source: Hall KD, Sacks G, Chandramohan D, Chow CC, Wang YC, Gortmaker SL,
// Swinburn BA, Lancet 2011;378:826-837, web appendix. Of the appendix the part
// on glycogen was read; the rest as in the source of an open implementation
// in R (MIT), which cites it.
const (
	fatUpkeepKcal  = 13 / kJPerKcal  // a day and kg of fat
	leanUpkeepKcal = 92 / kJPerKcal  // a day and kg of lean tissue
	fatBuildKcal   = 750 / kJPerKcal // spent in laying down a kg of fat
	leanBuildKcal  = 960 / kJPerKcal // spent in laying down a kg of lean tissue

	thermicShare = 0.10 // of a change of intake is spent on digesting it
	adaptShare   = 0.14 // of a change of intake is what expenditure follows it by
	adaptDays    = 14   // time constant of that

	startGlycogenKg   = 0.5
	glycogenWithWater = 3.7 // kg of weight a kg of glycogen: 2.7 kg of water with it

	sodiumMgPerKg   = 3220 // in extracellular fluid
	fluidSodiumMg   = 3000 // excreted a day and kg of fluid over the baseline
	carbSodiumMg    = 4000 // excreted a day where no carbohydrate is eaten
	carbShare       = 0.5  // of the baseline intake is carbohydrate
	partitionKg     = ForbesKg * LeanKcalPerKg / FatKcalPerKg
	leastPALOfModel = 1.12 // at less, activity would cost less than nothing
	mostPALOfModel  = 2.5
)

// BodyStart is a person at energy balance, from whom the model starts.
type BodyStart struct {
	Sex      engine.Sex
	AgeYears int     // 18..100
	WeightKg float64 // 30..300
	HeightCm float64 // 100..250
	// PAL is total over resting energy expenditure (RestingMifflinOriginal),
	// 1.12..2.5. Where maintenance is known it is maintenance over resting.
	PAL float64
	// FatKg is measured fat mass, 2..70 % of the weight. Where it is unknown a
	// regression on age, sex and body mass index stands in, which takes muscle
	// for fat.
	FatKg engine.Opt
}

// BodyModel is the dynamic model of adult body weight for one person: how fat,
// lean tissue, glycogen, extracellular fluid and expenditure answer to intake
// and activity over months and years. Its state is carried by the caller:
//
//	s := m.Start()
//	for ... { s, ok = m.Day(s, day) }
//
// It describes average people. The lean share of a change follows the Forbes
// curve and knows no training. Over two years of a trial its mean error was half
// a kilogram, with large differences between people, most of them because intake
// is not known well (Am J Clin Nutr 2018, PMC6248630, abstract).
type BodyModel struct {
	start       BodyState
	intakeKcal  float64 // at the start, kcal/d
	constKcal   float64 // K of the model
	activity    float64 // delta, kcal/d and kg of body weight
	glycogenUse float64 // kG, kcal/d and kg^2
}

// BodyState is a body on one day.
type BodyState struct {
	FatKg          float64
	LeanKg         float64 // without glycogen, its water and extracellular fluid
	GlycogenKg     float64
	FluidKg        float64 // extracellular
	AdaptationKcal float64 // by which expenditure has followed intake, kcal/d
}

// WeightKg is body weight: fat + lean + fluid + 3.7 glycogen.
func (s BodyState) WeightKg() float64 {
	return s.FatKg + s.LeanKg + s.FluidKg + glycogenWithWater*s.GlycogenKg
}

// FatFreeKg is all but fat.
func (s BodyState) FatFreeKg() float64 { return s.WeightKg() - s.FatKg }

// NewBodyModel sets the model up. It is false when the start lies outside its
// ranges (which are ours), when the fat that the regression gives does, and when
// no lean tissue would be left.
//
//	intake     = PAL RMR
//	fat, men   = W (0.14 A + 37.31 ln BMI - 103.94)/100
//	fat, women = W (0.14 A + 39.96 ln BMI - 102.01)/100
//	fluid, men   = 0.025 A + 9.57 H + 0.191 W - 12.4
//	fluid, women = 5.98 H + 0.167 W - 4.0
//	lean = W - fat - fluid - 3.7 0.5
//	delta = ((1 - 0.1) PAL - 1) RMR/W
//	K = intake - 22.0 lean - 3.1 fat - delta W
//
// A age in years, W weight in kg, H height in m, RMR resting expenditure.
//
// Source: as for the constants; the regressions of fat and fluid as given by bw
// and other public programs that cite the appendix.
func NewBodyModel(b BodyStart) (BodyModel, bool) {
	resting := RestingMifflinOriginal(b.Sex, b.WeightKg, b.HeightCm, b.AgeYears)
	if !resting.OK || !(b.PAL >= leastPALOfModel && b.PAL <= mostPALOfModel) {
		return BodyModel{}, false
	}
	age, m, logBMI := float64(b.AgeYears), b.HeightCm/100, math.Log(BMI(b.WeightKg, b.HeightCm).V)
	s := BodyState{GlycogenKg: startGlycogenKg}
	if b.Sex == engine.Male {
		s.FatKg = b.WeightKg * (0.14*age + 37.31*logBMI - 103.94) / 100
		s.FluidKg = 0.025*age + 9.57*m + 0.191*b.WeightKg - 12.4
	} else {
		s.FatKg = b.WeightKg * (0.14*age + 39.96*logBMI - 102.01) / 100
		s.FluidKg = 5.98*m + 0.167*b.WeightKg - 4.0
	}
	if b.FatKg.OK {
		s.FatKg = b.FatKg.V
	}
	if !(100*s.FatKg >= minFatPct*b.WeightKg && 100*s.FatKg <= maxFatPct*b.WeightKg) {
		return BodyModel{}, false
	}
	s.LeanKg = b.WeightKg - s.FatKg - s.FluidKg - glycogenWithWater*startGlycogenKg
	if !s.isPossible() {
		return BodyModel{}, false
	}
	model := BodyModel{start: s, intakeKcal: b.PAL * resting.V}
	model.activity = ((1-thermicShare)*b.PAL - 1) * resting.V / b.WeightKg
	model.constKcal = model.intakeKcal - leanUpkeepKcal*s.LeanKg - fatUpkeepKcal*s.FatKg - model.activity*b.WeightKg
	model.glycogenUse = carbShare * model.intakeKcal / (startGlycogenKg * startGlycogenKg)
	return model, true
}

// Start is the body at energy balance.
func (m BodyModel) Start() BodyState { return m.start }

// IntakeKcal is the intake at energy balance, in kcal/d.
func (m BodyModel) IntakeKcal() float64 { return m.intakeKcal }

// isPossible is false for a body that no person has, NaN included.
func (s BodyState) isPossible() bool {
	within := func(v, low, high float64) bool { return v >= low && v <= high }
	return within(s.FatKg, 0.1, maxWeightKg) && within(s.LeanKg, 5, maxWeightKg) && within(s.GlycogenKg, 0, 5) &&
		within(s.FluidKg, 1, 100) && within(s.AdaptationKcal, -maxModelKcal, maxModelKcal)
}
