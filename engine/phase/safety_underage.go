package phase

// minAge is the age in completed years from which a deficit is computed. Source:
// every equation used here is one of adults (Mifflin MD et al., Am J Clin Nutr
// 1990;51:241: 19-78 years; the energy requirements of IOM 2005: 19 and over).
const minAge = 18

// underage refers a trainee under 18. An unknown birth date is not its matter:
// see profileIncomplete.
func underage(f *facts) (Finding, bool) {
	age, known := f.age()
	if !known || age >= minAge {
		return Finding{}, false
	}
	return Finding{
		Code:     CodeUnderage,
		Sentence: "A deficit is not computed for anyone under 18.",
		Numbers:  []Number{{"age_years", float64(age), "a"}, {"minimum_age_years", minAge, "a"}},
	}, true
}
