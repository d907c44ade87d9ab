package physiology

import "example.com/steelyard/engine"

// RestingRozaShizgal returns resting energy expenditure in kcal/d by the
// equations of Harris and Benedict as Roza and Shizgal refitted them:
//
//	men    88.362 + 13.397 W + 4.799 H - 5.677 A
//	women 447.593 +  9.247 W + 3.098 H - 4.330 A
//
// W weight in kg (30..300), H height in cm (100..250), A age in years (18..100);
// our ranges. Unknown outside them and without a sex. It lies over
// RestingMifflin for most people; Steelyard itself uses Mifflin's.
//
// Source: Roza AM, Shizgal HM, Am J Clin Nutr 1984;40:168-182 (precision 14 %,
// abstract); coefficients as on a university hospital's nutrition page.
func RestingRozaShizgal(sex engine.Sex, weightKg, heightCm float64, ageYears int) engine.Opt {
	if !isWeight(weightKg) || !isHeight(heightCm) || !isAge(ageYears) {
		return engine.Opt{}
	}
	age := float64(ageYears)
	switch sex {
	case engine.Male:
		return engine.Some(88.362 + 13.397*weightKg + 4.799*heightCm - 5.677*age)
	case engine.Female:
		return engine.Some(447.593 + 9.247*weightKg + 3.098*heightCm - 4.330*age)
	}
	return engine.Opt{}
}
