package physiology

import (
	"math"

	"example.com/steelyard/engine"
)

// ForbesKg is the parameter of the Forbes curve, along which fat-free and fat
// mass of adults change together:
//
//	fat-free mass = 10.4 ln(fat mass) + constant, in kg
//
// It describes ordinary dieters. It knows neither training nor protein: in
// lifters who keep both up the lean share is usually smaller.
//
// Source: Forbes GB, Nutr Rev 1987;45:225-231, and Ann N Y Acad Sci
// 2000;904:359-365; the 10.4 as used by Hall KD et al.
const ForbesKg = 10.4

// ForbesLeanShare returns the share of fat-free mass in a very small change of
// weight at a fat mass in kg (1..200, our range):
//
//	10.4/(10.4 + fat)
//
// Unknown outside. Source as for ForbesKg.
func ForbesLeanShare(fatKg float64) engine.Opt {
	if !isFatMass(fatKg) {
		return engine.Opt{}
	}
	return engine.Some(ForbesKg / (ForbesKg + fatKg))
}

// MassChange is a change of body mass by what it is made of; losses are
// negative.
type MassChange struct {
	FatKg  float64
	LeanKg float64 // fat-free mass
}

// KcalPerKg is the energy of the change over its mass, in kcal/kg.
func (c MassChange) KcalPerKg() float64 {
	return (FatKcalPerKg*c.FatKg + LeanKcalPerKg*c.LeanKg) / (c.FatKg + c.LeanKg)
}

// ForbesChange splits a change of weight along the Forbes curve:
//
//	fat after = 10.4 W(fat/10.4 exp((fat + change)/10.4))
//
// with W Lambert's function, fat the fat mass before in kg (1..200) and the
// change -100..100 kg, not 0; our ranges. It is false outside them and when
// less than 1 kg of fat would be left.
//
// A loss costs less energy per kg the leaner the person is and the more is
// lost: about 5700 kcal/kg from 12 kg of fat, 7400 from 30.
//
// Source: Hall KD, Br J Nutr 2007;97:1059-1063 (its abstract was read; the
// formula follows from the curve). The densities are those of this package.
func ForbesChange(fatKg, changeKg float64) (MassChange, bool) {
	if !isFatMass(fatKg) || !(math.Abs(changeKg) <= 100) || changeKg == 0 {
		return MassChange{}, false
	}
	after := ForbesKg * lambertW0(fatKg/ForbesKg*math.Exp((fatKg+changeKg)/ForbesKg))
	if after < minFatKg {
		return MassChange{}, false
	}
	return MassChange{FatKg: after - fatKg, LeanKg: changeKg - (after - fatKg)}, true
}

const minFatKg, maxFatKg = 1, 200

func isFatMass(kg float64) bool { return kg >= minFatKg && kg <= maxFatKg }
