package phase

import (
	"fmt"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/physiology"
)

// gallstoneKgPerWeek is the loss over which gallstones become more likely.
// Source: Medically safe rate of weight loss for the treatment of obesity, Am J
// Med 1995, PMID 7847427 (abstract: the risk rises dramatically above 1.5 kg a
// week).
const gallstoneKgPerWeek = 1.5

// GeneralCautions go with every number that is shown to a trainee or a coach.
func GeneralCautions() []Caution {
	return []Caution{
		{CodeNotMedicalAdvice, "This is general information and not medical advice. Local rules and licensed practice come first."},
		{CodeTrackedIntake, "All numbers rest on what was logged; food that is not logged shifts them."},
	}
}

// cautionsFor are never empty: the general ones go with every answer.
func cautionsFor(f *facts) []Caution {
	out := GeneralCautions()
	if !f.profile.BirthDate.OK {
		out = append(out, Caution{CodeAgeUnknown, "The age is not known. Nothing here is meant for anyone under 18."})
	}
	if e := f.estimate; e != nil && e.RatePctPerWeek/100*e.TrendWeightKg > gallstoneKgPerWeek {
		out = append(out, Caution{CodeGallstones, "Losing more than 1.5 kg a week makes gallstones more likely. Please slow down, and see a doctor about pain in the upper belly."})
	}
	if ea := f.energyAvailability(); ea.OK && ea.V < physiology.LowEnergyAvailability {
		out = append(out, Caution{CodeEnergyAvailability, fmt.Sprintf("The target leaves about %.0f kcal a day for each kg of fat-free mass, under the 30 that screening takes as low. "+
			"What it means in men is debated; with missed periods, stress fractures or low mood please see a doctor.", ea.V)})
	}
	return out
}

// energyAvailability is what the target in force leaves beside the prescribed
// activity, kcal per kg of fat-free mass a day; unknown without a measured body
// fat. Training that was there before the plan is not counted.
func (f *facts) energyAvailability() engine.Opt {
	fat, ok := f.bodyFat()
	if !ok || f.current == nil || f.estimate == nil || !f.arc.isCutting() {
		return engine.Opt{}
	}
	return physiology.EnergyAvailability(physiology.DayBalance{
		IntakeKcal: f.current.MeanIntakeKcal(), ExerciseKcal: f.current.ActivityKcal,
		FatFreeKg: f.estimate.TrendWeightKg * (1 - fat.pct/100),
	})
}
