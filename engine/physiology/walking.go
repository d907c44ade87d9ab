package physiology

import "example.com/steelyard/engine"

// Level walking costs, net of rest, 0.1 mL of oxygen per kg and metre at any
// walking speed, and a litre of oxygen stands for 5 kcal: so 0.50 kcal per kg
// of body weight and km.
//
// Source: the walking equation of the American College of Sports Medicine,
// 3.5 + 0.1 S + 1.8 S G mL/kg/min at S m/min (50..100) and grade G, of which 3.5
// is rest (Bushman BA, ACSM's Health & Fitness J 2020;24(3):6-10, citing ACSM's
// Guidelines, 10th ed., table 6.3).
const WalkNetKcalPerKgKm = 0.50

// OrdinaryWalkMPerMin is the walking speed that minutes are told for:
// 80 m/min, 4.8 km/h or 3 miles an hour (common practice, no source).
const OrdinaryWalkMPerMin = 80

// Step length as a share of body height. Approximate: these factors are quoted
// everywhere and no primary source was found.
const (
	stepOfHeightMale   = 0.415
	stepOfHeightFemale = 0.413
	stepOfHeight       = 0.414 // sex unknown
)

// maxWalkKcal is the most walking that is turned into steps or minutes, kcal/d:
// beyond any prescription.
const maxWalkKcal = 5000

// StepLengthM returns the length of one walking step in metres, 0.415 (men) or
// 0.413 (women) of body height; 0.414 when the sex is not known. Approximate,
// no primary source. Unknown for a height outside 100..250 cm.
func StepLengthM(sex engine.Sex, heightCm float64) engine.Opt {
	if !isHeight(heightCm) {
		return engine.Opt{}
	}
	share := stepOfHeight
	switch sex {
	case engine.Male:
		share = stepOfHeightMale
	case engine.Female:
		share = stepOfHeightFemale
	}
	return engine.Some(share * heightCm / 100)
}

// StepsFor returns how many steps of level walking cost kcal, net of rest:
//
//	steps = kcal / (0.50 W) * 1000 / step length
//
// W in kg (30..300), height in cm (100..250), kcal 0..5000. Unknown outside.
func StepsFor(kcal, weightKg, heightCm float64, sex engine.Sex) engine.Opt {
	km, step := walkKm(kcal, weightKg), StepLengthM(sex, heightCm)
	if !km.OK || !step.OK {
		return engine.Opt{}
	}
	return engine.Some(km.V * 1000 / step.V)
}

// WalkMinutesFor returns how many minutes of level walking at
// OrdinaryWalkMPerMin cost kcal, net of rest. Domain as for StepsFor.
func WalkMinutesFor(kcal, weightKg float64) engine.Opt {
	km := walkKm(kcal, weightKg)
	if !km.OK {
		return engine.Opt{}
	}
	return engine.Some(km.V * 1000 / OrdinaryWalkMPerMin)
}

// walkKm returns the distance of level walking that costs kcal, net of rest.
func walkKm(kcal, weightKg float64) engine.Opt {
	if !isWeight(weightKg) || !(kcal >= 0 && kcal <= maxWalkKcal) {
		return engine.Opt{}
	}
	return engine.Some(kcal / (WalkNetKcalPerKgKm * weightKg))
}
