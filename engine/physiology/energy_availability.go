package physiology

import "example.com/steelyard/engine"

// LowEnergyAvailability is the energy availability below which a screen speaks
// up, in kcal per kg of fat-free mass a day. It is a screen and not a
// diagnosis: the number comes from studies of some days in young sedentary
// women, is debated for women and not established for men.
//
// Source: Loucks and Thuma 2003 and Ihle and Loucks 2004, as discussed in a
// review, Eur J Appl Physiol 2021;121:1-21.
const LowEnergyAvailability = 30

// DayBalance is what energy availability is made of.
type DayBalance struct {
	IntakeKcal   float64 // kcal/d eaten, 0..20000
	ExerciseKcal float64 // kcal/d that exercise costs beyond daily living, net of rest, 0..10000
	FatFreeKg    float64 // fat-free mass, 20..150 kg
}

// EnergyAvailability returns what intake leaves for the body beside exercise,
// in kcal per kg of fat-free mass a day:
//
//	(intake - exercise)/fat-free mass
//
// It can be negative. Unknown outside the ranges, which are ours. About 45 is
// held to be healthy; an ordinary cut often comes near LowEnergyAvailability.
// What was not logged makes it look lower than it is.
//
// Source: IOC consensus statements on relative energy deficiency in sport, Br J
// Sports Med 2018;52:687 and 2023;57:1073; the 45: Burke LM et al., Int J Sport
// Nutr Exerc Metab 2018;28:350 (abstract).
func EnergyAvailability(d DayBalance) engine.Opt {
	if !(d.IntakeKcal >= 0 && d.IntakeKcal <= 20_000 && d.ExerciseKcal >= 0 && d.ExerciseKcal <= 10_000) || !isFatFreeMass(d.FatFreeKg) {
		return engine.Opt{}
	}
	return engine.Some((d.IntakeKcal - d.ExerciseKcal) / d.FatFreeKg)
}

func isFatFreeMass(kg float64) bool { return kg >= 20 && kg <= 150 }
