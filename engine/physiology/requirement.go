package physiology

import "example.com/steelyard/engine"

// EnergyRequirement returns the estimated energy requirement of a weight-stable
// adult in kcal/d:
//
//	men   661.8 - 9.53 A + PA (15.91 W + 539.6 H)   PA 1.00, 1.11, 1.25, 1.48
//	women 354.1 - 6.91 A + PA ( 9.36 W + 726   H)   PA 1.00, 1.12, 1.27, 1.45
//
// A age in years (18..100; published for 19 and older, 18 continues the line on
// our own account), W weight in kg (30..300), H height in metres (from
// heightCm, 100..250); PA for sedentary, low active, active and very active.
// It was fitted to people of normal weight (BMI 18.5-25) and is less sure
// beyond. Unknown outside these ranges and without a sex or an activity level.
//
// Source: Institute of Medicine, Dietary Reference Intakes for Energy,
// Carbohydrate, Fiber, Fat, Fatty Acids, Cholesterol, Protein, and Amino Acids,
// 2002/2005. The report itself was not read. The coefficients come from texts
// and public programs that reproduce it; they give all 48 printed values of its
// table to under 0.5 kcal.
func EnergyRequirement(sex engine.Sex, ageYears int, heightCm, weightKg float64, level engine.ActivityLevel) engine.Opt {
	if !isWeight(weightKg) || !isHeight(heightCm) || !isAge(ageYears) {
		return engine.Opt{}
	}
	pa, ok := activityCoefficient(sex, level)
	if !ok {
		return engine.Opt{}
	}
	age, heightM := float64(ageYears), heightCm/100
	if sex == engine.Male {
		return engine.Some(661.8 - 9.53*age + pa*(15.91*weightKg+539.6*heightM))
	}
	return engine.Some(354.1 - 6.91*age + pa*(9.36*weightKg+726*heightM))
}

func activityCoefficient(sex engine.Sex, level engine.ActivityLevel) (pa float64, ok bool) {
	men := [...]float64{engine.Sedentary: 1.00, engine.LowActive: 1.11, engine.Active: 1.25, engine.VeryActive: 1.48}
	women := [...]float64{engine.Sedentary: 1.00, engine.LowActive: 1.12, engine.Active: 1.27, engine.VeryActive: 1.45}
	switch {
	case level < engine.Sedentary || level > engine.VeryActive:
		return 0, false
	case sex == engine.Male:
		return men[level], true
	case sex == engine.Female:
		return women[level], true
	}
	return 0, false
}
