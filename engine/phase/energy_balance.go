package phase

import (
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
	"example.com/steelyard/engine/physiology"
)

// Balance is the energy balance of a trainee on a morning, with or without a plan.
type Balance struct {
	Estimate   *balance.Estimate // at the target in force, or at the usual intake; nil with too few readings
	WhyAbsent  string            // a sentence; empty when there is an estimate
	GuessKcal  engine.Opt        // where the estimate started, kcal/d
	GuessBasis string            // what the guess rests on, in a sentence
}

// EnergyBalance estimates maintenance and rate of loss on the morning of asOf;
// plan may be nil. The band of the probabilities is the plan's, or the usual one.
func EnergyBalance(w engine.Window, p engine.Profile, plan *engine.Plan, asOf engine.Day) Balance {
	judged := engine.DefaultPlan(w.First)
	if plan != nil {
		judged = *plan
	}
	f := newFacts(w, p, judged, asOf)
	b := Balance{Estimate: f.estimate}
	// Without a weight only the profile's own estimate can be a guess.
	if g, ok := physiology.MaintenanceGuess(p, f.weightKg.Or(0), asOf); ok {
		b.GuessKcal, b.GuessBasis = engine.Some(g.Kcal), guessWords[g.Basis]
	}
	if b.Estimate == nil {
		b.WhyAbsent = "Three weigh-ins are needed before anything can be said, or a week with one."
	}
	return b
}

var guessWords = [...]string{
	physiology.GuessNone:                    "",
	physiology.GuessOwn:                     "The profile's own estimate.",
	physiology.GuessEquation:                "The energy requirement for sex, age, height, weight and activity level (Institute of Medicine, 2005).",
	physiology.GuessEquationActivityAssumed: "The energy requirement for sex, age, height and weight (Institute of Medicine, 2005), with a low-active life assumed.",
	physiology.GuessWeightAlone:             "Body weight alone, since sex, birth date or height is not known; it is a rough guess.",
}
