package physiology

import "example.com/steelyard/engine"

// BMI returns the body mass index in kg/m^2: weight over the square of height.
// Unknown for a weight outside 30..300 kg or a height outside 100..250 cm.
//
// It takes muscle for fat: a strong lifter's index says little about fatness.
func BMI(weightKg, heightCm float64) engine.Opt {
	if !isWeight(weightKg) || !isHeight(heightCm) {
		return engine.Opt{}
	}
	m := heightCm / 100
	return engine.Some(weightKg / (m * m))
}

// BMIClass is a class of body mass index for adults.
type BMIClass uint8

// Classes, with the index from which each starts, in kg/m^2.
const (
	BMIClassUnknown  BMIClass = iota
	SevereThinness            // below 16
	ModerateThinness          // 16
	MildThinness              // 17
	NormalWeight              // 18.5
	PreObese                  // 25
	ObeseClassI               // 30
	ObeseClassII              // 35
	ObeseClassIII             // 40
)

// UnderweightBMI is the index below which an adult is underweight, kg/m^2.
// Source: WHO Technical Report Series 894, 2000.
const UnderweightBMI = 18.5

// ClassifyBMI returns the class of an index. A class starts at its lower limit.
// Unknown for an index that is not positive.
//
// Source: WHO Technical Report Series 894, Obesity: preventing and managing the
// global epidemic, 2000 (limits read in a secondary text).
func ClassifyBMI(bmi float64) BMIClass {
	switch {
	case !(bmi > 0) || !isFinite(bmi):
		return BMIClassUnknown
	case bmi < 16:
		return SevereThinness
	case bmi < 17:
		return ModerateThinness
	case bmi < UnderweightBMI:
		return MildThinness
	case bmi < 25:
		return NormalWeight
	case bmi < 30:
		return PreObese
	case bmi < 35:
		return ObeseClassI
	case bmi < 40:
		return ObeseClassII
	}
	return ObeseClassIII
}
