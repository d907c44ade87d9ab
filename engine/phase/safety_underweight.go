package phase

import "example.com/steelyard/engine/physiology"

// underweight refers a trainee whose present body mass index is under 18.5.
// Source: WHO Technical Report Series 894, 2000.
func underweight(f *facts) (Finding, bool) {
	if !f.weightKg.OK || !f.profile.HeightCm.OK {
		return Finding{}, false
	}
	bmi := physiology.BMI(f.weightKg.V, f.profile.HeightCm.V)
	return Finding{
		Code:     CodeUnderweight,
		Sentence: "The present weight is below a body mass index of 18.5, so losing more is not something to plan here.",
		Numbers:  []Number{{"bmi", bmi.V, "kg/m2"}, {"weight_kg", f.weightKg.V, "kg"}},
	}, bmi.OK && bmi.V < physiology.UnderweightBMI
}

// goalUnderweight refers a trainee whose goal is under the same index.
func goalUnderweight(f *facts) (Finding, bool) {
	if !f.plan.GoalWeightKg.OK || !f.profile.HeightCm.OK {
		return Finding{}, false
	}
	bmi := physiology.BMI(f.plan.GoalWeightKg.V, f.profile.HeightCm.V)
	return Finding{
		Code:     CodeGoalUnderweight,
		Sentence: "The goal weight is below a body mass index of 18.5; please choose a higher one together with someone qualified.",
		Numbers:  []Number{{"goal_bmi", bmi.V, "kg/m2"}, {"goal_weight_kg", f.plan.GoalWeightKg.V, "kg"}},
	}, bmi.OK && bmi.V < physiology.UnderweightBMI
}
