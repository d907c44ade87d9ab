package physiology

import "example.com/steelyard/engine"

// Lifestyle is a band of the physical activity level (PAL), total over basal
// energy expenditure.
type Lifestyle uint8

// Bands of the physical activity level, with the level from which each starts.
const (
	LifestyleUnknown  Lifestyle = iota
	BelowLifestyles             // under 1.40: less than any usual life needs
	LightLifestyle              // 1.40: sedentary or light activity
	ModerateLifestyle           // 1.70: active or moderately active
	VigorousLifestyle           // 2.00 to 2.40: vigorous or vigorously active
	BeyondSustainable           // over 2.40: hard to keep up over a long time
)

// ClassifyPAL returns the band of a physical activity level. The report prints
// its bands to two decimals, 1.40-1.69, 1.70-1.99 and 2.00-2.40: what lies
// between two of them belongs to the lower. Unknown for a level under 1 or not
// finite.
//
// The bands describe groups. A person's level can lie outside that of a
// lifestyle that sounds like theirs.
//
// Source: Human energy requirements, report of a joint FAO/WHO/UNU expert
// consultation, Rome 2001, table 5.3 and section 5.4 (the middle band read in
// the report, the outer ones in encyclopedias that cite it).
func ClassifyPAL(pal float64) Lifestyle {
	switch {
	case !(pal >= 1) || !isFinite(pal):
		return LifestyleUnknown
	case pal < leastPAL:
		return BelowLifestyles
	case pal < 1.70:
		return LightLifestyle
	case pal < 2.00:
		return ModerateLifestyle
	case pal <= mostPAL:
		return VigorousLifestyle
	}
	return BeyondSustainable
}

const leastPAL, mostPAL = 1.40, 2.40

// RequirementByPAL returns the mean energy requirement in kcal/d of a group:
// its basal energy expenditure (500..5000 kcal/d, our range) times its physical
// activity level (1.40..2.40, the report's bands). Unknown outside. For one
// person it is a guess.
//
// Source: as for ClassifyPAL, section 5.4.1.
func RequirementByPAL(basalKcal, pal float64) engine.Opt {
	if !(basalKcal >= 500 && basalKcal <= 5000 && pal >= leastPAL && pal <= mostPAL) {
		return engine.Opt{}
	}
	return engine.Some(basalKcal * pal)
}
