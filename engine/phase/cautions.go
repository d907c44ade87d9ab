package phase

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
	return out
}
