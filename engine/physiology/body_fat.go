package physiology

import (
	"math"

	"example.com/steelyard/engine"
)

// FatEstimate is a body-fat percentage with the standard error of its equation
// for one person. Neither equation is a measurement.
type FatEstimate struct {
	Pct   float64
	SEPct float64
}

// Ranges of a tape measure and of a result that are computed with; ours.
const (
	minNeckCm, maxNeckCm   = 20, 80
	minGirthCm, maxGirthCm = 40, 250
	minFatPct, maxFatPct   = 2, 70
)

// BodyFatByTape estimates body fat in % from circumferences:
//
//	% = 495/D - 450
//	men   D = 1.0324  - 0.19077 log(abdomen - neck)     + 0.15456 log(height)
//	women D = 1.29579 - 0.35004 log(waist + hip - neck) + 0.22100 log(height)
//
// in cm, logarithms to base 10; D is body density in g/mL. Men measure the
// abdomen at the navel, women the waist where it is narrowest; both the neck
// just below the larynx. Standard error 3.52 (men) and 3.72 points (women).
//
// It is false without a sex or a circumference that it needs, for a neck outside
// 20..80 cm, other circumferences outside 40..250 cm or a height outside
// 100..250 cm, when the neck is not the smaller, and when the result lies
// outside 2..70 % (our ranges).
//
// Source: Hodgdon JA, Beckett MB, Naval Health Research Center reports 84-11
// (men) and 84-29 (women), 1984. The reports were not read: the coefficients
// are as given by secondary texts, one of which rounds them and gives the errors.
func BodyFatByTape(sex engine.Sex, heightCm float64, tape engine.Tape) (FatEstimate, bool) {
	if !isHeight(heightCm) || !isKnownWithin(tape.NeckCm, minNeckCm, maxNeckCm) {
		return FatEstimate{}, false
	}
	var density, se float64
	switch {
	case sex == engine.Male && isGirth(tape.AbdomenCm):
		density = 1.0324 - 0.19077*math.Log10(tape.AbdomenCm.V-tape.NeckCm.V) + 0.15456*math.Log10(heightCm)
		se = 3.52
	case sex == engine.Female && isGirth(tape.WaistCm) && isGirth(tape.HipCm):
		density = 1.29579 - 0.35004*math.Log10(tape.WaistCm.V+tape.HipCm.V-tape.NeckCm.V) + 0.22100*math.Log10(heightCm)
		se = 3.72
	default:
		return FatEstimate{}, false
	}
	return fatEstimate(495/density-450, se)
}

// BodyFatByBMI estimates body fat in % from the body mass index alone:
//
//	1.20 BMI + 0.23 age - 10.8 (men) - 5.4
//
// for a BMI of 15..50 and an age of 18..100 years (our ranges). Standard error
// 4.1 points. It takes muscle for fat, so that it is worth little for a lifter,
// and reads slightly high in obesity. It is false outside the ranges and
// without a sex.
//
// Source: Deurenberg P, Weststrate JA, Seidell JC, Br J Nutr 1991;65:105-114
// (abstract; R^2 0.79).
func BodyFatByBMI(sex engine.Sex, bmi float64, ageYears int) (FatEstimate, bool) {
	if !(bmi >= 15 && bmi <= 50) || !isAge(ageYears) {
		return FatEstimate{}, false
	}
	pct := 1.20*bmi + 0.23*float64(ageYears) - 5.4
	switch sex {
	case engine.Male:
		return fatEstimate(pct-10.8, 4.1)
	case engine.Female:
		return fatEstimate(pct, 4.1)
	}
	return FatEstimate{}, false
}

func fatEstimate(pct, se float64) (FatEstimate, bool) {
	if !(pct >= minFatPct && pct <= maxFatPct) {
		return FatEstimate{}, false
	}
	return FatEstimate{Pct: pct, SEPct: se}, true
}

func isGirth(o engine.Opt) bool { return isKnownWithin(o, minGirthCm, maxGirthCm) }

func isKnownWithin(o engine.Opt, low, high float64) bool { return o.OK && o.V >= low && o.V <= high }
