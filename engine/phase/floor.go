package phase

import (
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/physiology"
)

// Floors of the prescribed intake.
const (
	// The lower end of low-calorie diets for women and men: 1200 and 1500 kcal/d.
	// Source: AHA/ACC/TOS 2013 obesity guideline (1200-1500 and 1500-1800; read
	// in a secondary text).
	floorFemaleKcal = 1200
	floorMaleKcal   = 1500
	// floorRestingShare of resting energy: common practice, no source.
	floorRestingShare = 0.95
	// floorMaintenanceShare caps the floors above, so that a small person is
	// not left without any deficit: common practice, no source.
	floorMaintenanceShare = 0.9
	// Nothing caps it below a very-low-calorie diet, which needs a doctor.
	// Source: National Task Force on the Prevention and Treatment of Obesity,
	// JAMA 1993;270:967-974.
	floorLeastKcal = 800
)

// floor returns the least intake in kcal/d that is ever proposed:
//
//	max(1200 women or 1500 men, 0.95 resting energy)
//	at most 0.9 of maintenance, at least 800
//	raised, never lowered, by the plan's own floor
//
// Resting energy (Mifflin) and maintenance are left out where they are not
// known. Unknown without a sex.
func floor(p engine.Profile, weightKg engine.Opt, on engine.Day, maintenanceKcal, planKcal engine.Opt) engine.Opt {
	var kcal float64
	switch p.Sex {
	case engine.Female:
		kcal = floorFemaleKcal
	case engine.Male:
		kcal = floorMaleKcal
	default:
		return engine.Opt{}
	}
	if weightKg.OK && p.HeightCm.OK && p.BirthDate.OK {
		age := engine.YearsBetween(p.BirthDate.Day, on)
		resting := physiology.RestingMifflin(p.Sex, weightKg.V, p.HeightCm.V, age)
		kcal = max(kcal, floorRestingShare*resting.Or(0))
	}
	if maintenanceKcal.OK {
		kcal = min(kcal, floorMaintenanceShare*maintenanceKcal.V)
	}
	kcal = max(kcal, floorLeastKcal)
	if planKcal.OK && planKcal.V > kcal {
		kcal = planKcal.V
	}
	return engine.Some(kcal)
}
