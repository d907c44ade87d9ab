package physiology

import "example.com/steelyard/engine"

// GuessBasis says what a maintenance guess rests on.
type GuessBasis uint8

// Bases, from the best to the poorest.
const (
	GuessNone                    GuessBasis = iota
	GuessOwn                                // the profile's own estimate
	GuessEquation                           // the energy requirement of sex, age, height, weight and activity level
	GuessEquationActivityAssumed            // the same with the activity level taken to be low active, because it is not known
	GuessWeightAlone                        // so many kcal per kg of body weight
)

// Guess is maintenance intake before the log has said anything.
type Guess struct {
	Kcal   float64 // kcal/d
	SDKcal float64 // standard deviation of the true value about it, kcal/d
	Basis  GuessBasis
}

const (
	guessSD = 0.12 // of the guess; fitted on the virtual cohort

	fallbackKcalPerKg = 31 // common practice, no source
	// 17 % is how far EnergyRequirement lies from 31 kcal/kg, root mean square
	// over sedentary to active adults of 20-60 years and a BMI of 20-35; with
	// guessSD for the person beside the equation, hypot(0.17, 0.12).
	fallbackSD = 0.21

	// An own estimate outside this range is a typing error or another unit.
	minOwnGuess, maxOwnGuess = 800, 8000
)

// MaintenanceGuess returns the best guess of a trainee's maintenance intake, in
// this order:
//
//  1. the profile's own estimate, when it lies in 800..8000 kcal/d
//  2. EnergyRequirement at the present weight and the age on the day, when sex,
//     birth date and height are known. An unknown activity level counts as low
//     active, and the basis says so
//  3. 31 kcal per kg of body weight, with a wider SD
//
// It is false when there is no own estimate and the weight is outside
// 30..300 kg. The standard deviation is 12 % of the guess, 21 % for the last.
// Whether a trainee of this age or state should be guided at all is not
// decided here.
func MaintenanceGuess(p engine.Profile, weightKg float64, on engine.Day) (Guess, bool) {
	if own := p.MaintenanceGuessKcal; own.OK && own.V >= minOwnGuess && own.V <= maxOwnGuess {
		return guess(own.V, guessSD, GuessOwn), true
	}
	if p.BirthDate.OK && p.HeightCm.OK {
		level, basis := p.Activity, GuessEquation
		if level == engine.ActivityUnknown {
			level, basis = engine.LowActive, GuessEquationActivityAssumed
		}
		age := engine.YearsBetween(p.BirthDate.Day, on)
		if need := EnergyRequirement(p.Sex, age, p.HeightCm.V, weightKg, level); need.OK {
			return guess(need.V, guessSD, basis), true
		}
	}
	if isWeight(weightKg) {
		return guess(fallbackKcalPerKg*weightKg, fallbackSD, GuessWeightAlone), true
	}
	return Guess{}, false
}

func guess(kcal, sd float64, basis GuessBasis) Guess {
	return Guess{Kcal: kcal, SDKcal: sd * kcal, Basis: basis}
}
