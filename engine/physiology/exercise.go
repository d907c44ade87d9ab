package physiology

// Pace is how fast and how steeply one walks or runs.
type Pace struct {
	SpeedMPerMin float64
	Grade        float64 // rise over distance, 0.05 for 5 %; 0..0.30, our range
}

// Burn is what exercise costs.
type Burn struct {
	OxygenMLPerKgMin float64 // rest included
	GrossKcalPerMin  float64 // rest included
	NetKcalPerMin    float64 // beyond rest: what counts as activity
}

// The range of speeds of each equation, in m/min. Between the two people either
// walk or run, and neither equation holds.
const (
	minWalkMPerMin, maxWalkMPerMin = 50, 100
	minRunMPerMin, maxRunMPerMin   = 134, 400 // the upper one is ours
)

// WalkBurn returns what walking costs at a pace of 50..100 m/min (3..6 km/h) and
// a body weight in kg (30..300):
//
//	oxygen = 3.5 + 0.1 S + 1.8 S G mL/kg/min
//
// S speed in m/min, G grade. A litre of oxygen stands for 5 kcal; the 3.5 is
// rest and is left out of the net cost. It is false outside the ranges. A
// grade downhill is outside.
//
// Source: American College of Sports Medicine, as in Bushman BA, ACSM's Health
// & Fitness J 2020;24(3):6-10, citing ACSM's Guidelines, 10th ed., table 6.3.
func WalkBurn(p Pace, weightKg float64) (Burn, bool) {
	if !(p.SpeedMPerMin >= minWalkMPerMin && p.SpeedMPerMin <= maxWalkMPerMin) {
		return Burn{}, false
	}
	return burn(p, weightKg, 0.1, 1.8)
}

// RunBurn returns what running costs at a pace of more than 134 m/min (8 km/h),
// up to 400, and a body weight in kg (30..300):
//
//	oxygen = 3.5 + 0.2 S + 0.9 S G mL/kg/min
//
// with the rest as for WalkBurn, the source too.
func RunBurn(p Pace, weightKg float64) (Burn, bool) {
	if !(p.SpeedMPerMin > minRunMPerMin && p.SpeedMPerMin <= maxRunMPerMin) {
		return Burn{}, false
	}
	return burn(p, weightKg, 0.2, 0.9)
}

const (
	restMLPerKgMin = 3.5
	kcalPerLitre   = 5 // of oxygen
)

func burn(p Pace, weightKg, level, rise float64) (Burn, bool) {
	if !isWeight(weightKg) || !(p.Grade >= 0 && p.Grade <= 0.30) {
		return Burn{}, false
	}
	moving := level*p.SpeedMPerMin + rise*p.SpeedMPerMin*p.Grade
	return Burn{
		OxygenMLPerKgMin: restMLPerKgMin + moving,
		GrossKcalPerMin:  oxygenKcalPerMin(restMLPerKgMin+moving, weightKg),
		NetKcalPerMin:    oxygenKcalPerMin(moving, weightKg),
	}, true
}

func oxygenKcalPerMin(mLPerKgMin, weightKg float64) float64 {
	return mLPerKgMin * weightKg / 1000 * kcalPerLitre
}
