package phase

import (
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/physiology"
)

// Body fat that a body cannot do without, %: 2-5 in men, 10-13 in women. A goal
// within that has nothing to spare, so that the upper ends are the limits.
// Source: American Council on Exercise, What are the guidelines for percentage
// of body fat loss?, 2009 (read in secondary texts).
const (
	essentialFatMalePct   = 5
	essentialFatFemalePct = 13
)

// goalTooLean refers a trainee whose body-fat goal leaves too little: under
// essential fat, or at a weight with a body mass index under 18.5 (WHO Technical
// Report Series 894, 2000).
func goalTooLean(f *facts) (Finding, bool) {
	goal := f.plan.GoalBodyFatPct
	if !goal.OK {
		return Finding{}, false
	}
	essential := float64(essentialFatMalePct)
	if f.profile.Sex == engine.Female {
		essential = essentialFatFemalePct
	}
	if goal.V < essential {
		return Finding{
			Code:     CodeGoalTooLean,
			Sentence: "The body-fat goal is less than a body needs to work; please choose a higher one together with someone qualified.",
			Numbers:  []Number{{"goal_body_fat_pct", goal.V, "%"}, {"essential_body_fat_pct", essential, "%"}},
		}, true
	}
	kg, _ := f.fatGoal(f.bodyFat())
	metres := f.profile.HeightCm.V / 100
	if !kg.OK || !(f.profile.HeightCm.OK && metres > 0) {
		return Finding{}, false
	}
	bmi := kg.V / (metres * metres) // physiology.BMI knows no weight as low as this can be
	return Finding{
		Code:     CodeGoalTooLean,
		Sentence: "The body-fat goal would be met below a body mass index of 18.5; please choose a higher one together with someone qualified.",
		Numbers:  []Number{{"goal_bmi", bmi, "kg/m2"}, {"goal_weight_kg", kg.V, "kg"}},
	}, bmi < physiology.UnderweightBMI
}
