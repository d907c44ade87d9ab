package physiology

import "example.com/steelyard/engine"

// RestingMifflin returns resting energy expenditure in kcal/d by the simplified
// equation of Mifflin and St Jeor:
//
//	men   10 W + 6.25 H - 5 A + 5
//	women 10 W + 6.25 H - 5 A - 161
//
// W weight in kg (30..300), H height in cm (100..250), A age in years (18..100).
// The 498 people it was fitted to were 19 to 78; 18 and 79..100 continue its
// line on our own account. Unknown outside these ranges and without a sex.
//
// Source: Mifflin MD et al., Am J Clin Nutr 1990;51:241-247. R^2 0.71. Of the
// common equations it comes within 10 % of measured values in the most people
// (Frankenfield D et al., J Am Diet Assoc 2005;105:775-789).
func RestingMifflin(sex engine.Sex, weightKg, heightCm float64, ageYears int) engine.Opt {
	return mifflin(sex, weightKg, heightCm, ageYears, 10, 6.25, 5, 5, -161)
}

// RestingMifflinOriginal is RestingMifflin with the coefficients of the
// regression before the authors rounded them, in kcal/d:
//
//	9.99 W + 6.25 H - 4.92 A + 166 (men only) - 161
//
// The dynamic body-weight model starts from this form. Domain and source as
// for RestingMifflin.
func RestingMifflinOriginal(sex engine.Sex, weightKg, heightCm float64, ageYears int) engine.Opt {
	return mifflin(sex, weightKg, heightCm, ageYears, 9.99, 6.25, 4.92, 166-161, -161)
}

func mifflin(sex engine.Sex, weightKg, heightCm float64, ageYears int, perKg, perCm, perYear, man, woman float64) engine.Opt {
	if !isWeight(weightKg) || !isHeight(heightCm) || !isAge(ageYears) {
		return engine.Opt{}
	}
	body := perKg*weightKg + perCm*heightCm - perYear*float64(ageYears)
	switch sex {
	case engine.Male:
		return engine.Some(body + man)
	case engine.Female:
		return engine.Some(body + woman)
	}
	return engine.Opt{}
}

// RestingCunningham returns resting energy expenditure in kcal/d from fat-free
// mass in kg:
//
//	500 + 22 FFM
//
// It holds for both sexes. Unknown for a fat-free mass outside 20..150 kg (our
// range for plausible input).
//
// Source: Cunningham JJ, Am J Clin Nutr 1980;33:2372-2374.
func RestingCunningham(ffmKg float64) engine.Opt {
	if !(ffmKg >= 20 && ffmKg <= 150) {
		return engine.Opt{}
	}
	return engine.Some(500 + 22*ffmKg)
}
