package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// weekendPattern tells a weekend that lies plainly over the week.
func weekendPattern(f *facts, _ engine.Action) []Finding {
	if f.current == nil || !f.isWeekendPlain() {
		return nil
	}
	kcal := f.weekendOver().V
	return []Finding{{
		Code: CodeWeekendPattern, Severity: Info,
		Sentence: fmt.Sprintf("Saturdays and Sundays lie about %.0f kcal a day over the other days, each against its target. A plan with more for the weekend and less for the week may be easier to keep.", kcal),
		Numbers:  []Number{{"weekend_over_kcal", kcal, "kcal/d"}},
	}}
}

// Protein that is usual in a cut with training, g per kg of body weight.
// Sources: Morton RW et al., Br J Sports Med 2018;52:376-384 (no further gain
// over about 1.6); Helms ER et al., J Int Soc Sports Nutr 2014;11:20 (more, by
// lean mass, when lean). The 2.4 is common practice, no source.
const (
	proteinLowG   = 1.6
	proteinHighG  = 2.4
	proteinDays   = 14
	proteinLeastN = 5 // logged days
)

// proteinLow informs when the logged protein is under what is usual; it
// prescribes nothing.
func proteinLow(f *facts, _ engine.Action) []Finding {
	var grams scatter
	for d := f.asOf - proteinDays; d < f.asOf; d++ {
		if p := f.row(d).ProteinG; p.OK && p.V >= 0 {
			grams.add(p.V)
		}
	}
	if grams.n < proteinLeastN || !f.weightKg.OK || grams.mean() >= proteinLowG*f.weightKg.V {
		return nil
	}
	perKg := grams.mean() / f.weightKg.V
	return []Finding{{
		Code: CodeProteinLow, Severity: Info,
		Sentence: fmt.Sprintf("The logged protein averages %.1f g per kg of body weight; %.1f to %.1f is usual in a cut with training. With kidney disease a doctor decides.", perKg, proteinLowG, proteinHighG),
		Numbers:  []Number{{"protein_g_per_kg", perKg, "g/kg"}},
	}}
}

// Four logged weeks at a stable weight: ours.
const (
	stableDays     = 28
	stableLogged   = 24
	stableReadings = 20
	stableMostPct  = 0.15 // %/week, of either end of the slope's 80 % interval
)

// stableWeeks offers the mean intake of four logged weeks at a stable weight,
// before the cut: a better guess of maintenance than any equation.
func stableWeeks(f *facts, _ engine.Action) []Finding {
	if f.arc.firstCut.OK {
		return nil
	}
	var kcal scatter
	for d := f.asOf - stableDays; d < f.asOf; d++ {
		if in := f.row(d).IntakeKcal; in.OK {
			kcal.add(in.V)
		}
	}
	l, ok := f.lossLine(f.asOf-stableDays, stableDays+1, f.isUsed)
	if kcal.n < stableLogged || !ok || l.n < stableReadings {
		return nil
	}
	least := l.atLeast(0.80)
	if most := 2*l.pctPerWeek - least.V; !least.OK || least.V < -stableMostPct || most > stableMostPct {
		return nil
	}
	return []Finding{{
		Code: CodeStableWeeks, Severity: Info,
		Sentence: fmt.Sprintf("Over four logged weeks the weight was stable at %.0f kcal a day: a better guess of maintenance than any equation. It can be set in the profile.", kcal.mean()),
		Numbers:  []Number{{"mean_logged_kcal", kcal.mean(), "kcal/d"}},
	}}
}

// paceEased reminds of a pace that was eased.
func paceEased(f *facts, _ engine.Action) []Finding {
	if !f.arc.eased.OK || !f.arc.isCutting() || !(f.pace > 0) {
		return nil
	}
	return []Finding{{
		Code: CodePaceEased, Severity: Info, Day: f.arc.eased,
		Sentence: fmt.Sprintf("The pace was eased on %s; %.2f %% of body weight a week is aimed at.", f.arc.eased.Day, f.pace),
		Numbers:  []Number{{"pace_pct_per_week", f.pace, "%/week"}},
	}}
}
