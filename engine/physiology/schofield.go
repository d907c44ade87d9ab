package physiology

import "example.com/steelyard/engine"

// BasalSchofield returns basal energy expenditure in kcal/d from weight alone,
// by Schofield's equations as FAO/WHO/UNU use them:
//
//	       18-29            30-59            60 and over
//	men    15.057 W + 692.2  11.472 W + 873.1  11.711 W + 587.7
//	women  14.818 W + 486.6   8.126 W + 845.6   9.082 W + 658.5
//
// W weight in kg (30..300), age in years (18..100); our ranges. The standard
// error of a person is 110-170 kcal/d. Unknown outside the ranges and without
// a sex.
//
// Source: Human energy requirements, report of a joint FAO/WHO/UNU expert
// consultation, Rome 2001, table 5.2 (coefficients read in an encyclopedia; the
// women's line of 18-29 gives the report's worked example).
func BasalSchofield(sex engine.Sex, weightKg float64, ageYears int) engine.Opt {
	if !isWeight(weightKg) || !isAge(ageYears) || sex != engine.Male && sex != engine.Female {
		return engine.Opt{}
	}
	lines := [...]struct{ man, men, woman, women float64 }{ // kcal/kg, kcal
		{15.057, 692.2, 14.818, 486.6},
		{11.472, 873.1, 8.126, 845.6},
		{11.711, 587.7, 9.082, 658.5},
	}
	line := lines[0]
	switch {
	case ageYears >= 60:
		line = lines[2]
	case ageYears >= 30:
		line = lines[1]
	}
	if sex == engine.Male {
		return engine.Some(line.man*weightKg + line.men)
	}
	return engine.Some(line.woman*weightKg + line.women)
}
