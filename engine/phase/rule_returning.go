package phase

import (
	"fmt"
	"math"

	"example.com/steelyard/engine"
)

// nearMaintenance is how close a target is to maintenance, as a share of it, to
// count as there; common practice, no source.
const nearMaintenance = 0.05

// returning watches the weight after a plan's end: the target follows the
// estimated maintenance until it is near it, and after three weeks near it, or
// four in any case, the plan is finished.
func returning(f *facts) (verdict, bool) {
	if f.stage != Returning {
		return verdict{}, false
	}
	back := f.wayBack(watchDays)
	there := back.Steps[len(back.Steps)-1]
	off := back.MaintenanceKcal - f.present.IntakeKcal
	days := int(f.asOf - f.arc.returnStart.Day)
	isNear := math.Abs(off) <= nearMaintenance*back.MaintenanceKcal
	numbers := []Number{{"maintenance_kcal", back.MaintenanceKcal, "kcal/d"}, {"days", float64(days), "d"}, {"trend_weight_kg", f.estimate.TrendWeightKg, "kg"}}
	v := verdict{back: back}
	switch {
	case days >= watchDays && isNear || days >= watchMostDays:
		stay := f.stay()
		if !isNear {
			stay = there
		}
		v.action, v.proposed = engine.Finish, &stay
		sentence := fmt.Sprintf("After %d days the weight holds at about %.1f kg on %.0f kcal a day.", days, f.estimate.TrendWeightKg, stay.IntakeKcal)
		if !isNear {
			sentence = fmt.Sprintf("After %d days maintenance is put at about %.0f kcal a day, at %.1f kg.", days, stay.IntakeKcal, f.estimate.TrendWeightKg)
		}
		v.headline = sentence + " The plan is finished: well done."
		v.findings = append([]Finding{{Code: CodePlanFinishes, Severity: Notice, Sentence: sentence, Numbers: numbers}}, f.summaryFinding()...)
	case isNear:
		v.action = engine.Hold
		sentence := fmt.Sprintf("The intake is near maintenance, about %.0f kcal a day; day %d of about %d of watching.", back.MaintenanceKcal, days, watchDays)
		v.headline = sentence + " Change nothing."
		v.findings = []Finding{{Code: CodeWatching, Severity: Info, Sentence: sentence, Numbers: numbers}}
	default:
		v.action, v.proposed = engine.ReturnToMaintenance, &there
		sentence := fmt.Sprintf("Maintenance is now put at about %.0f kcal a day (80 %% range %.0f to %.0f).", back.MaintenanceKcal, back.LowKcal, back.HighKcal)
		v.headline = fmt.Sprintf("%s Set the target to %.0f kcal a day.", sentence, there.IntakeKcal)
		v.findings = []Finding{{Code: CodeStepToMaintenance, Severity: Notice, Sentence: sentence, Numbers: numbers}}
	}
	return v, true
}

// summaryFinding tells what the plan has given.
func (f *facts) summaryFinding() []Finding {
	s := f.summary()
	if s == nil {
		return nil
	}
	sentence := fmt.Sprintf("In %d days the trend went from %.1f to %.1f kg, %.1f %% of the weight, with %d days of breaks and %d refeeds.",
		s.Days, s.StartWeightKg, s.EndWeightKg, s.LostPct, s.BreakDays, s.Refeeds)
	numbers := []Number{
		{"days", float64(s.Days), "d"}, {"start_weight_kg", s.StartWeightKg, "kg"}, {"end_weight_kg", s.EndWeightKg, "kg"}, {"lost_pct", s.LostPct, "%"},
		{"start_maintenance_kcal", s.StartMaintenanceKcal, "kcal/d"}, {"end_maintenance_kcal", s.EndMaintenanceKcal, "kcal/d"},
	}
	if s.MeanRatePctPerWeek.OK {
		numbers = append(numbers, Number{"mean_rate_pct_per_week", s.MeanRatePctPerWeek.V, "%/week"})
	}
	if s.RetentionPct.OK {
		sentence += fmt.Sprintf(" Strength is at %.0f %% of what it was before the cut.", s.RetentionPct.V)
		numbers = append(numbers, Number{"strength_retention_pct", s.RetentionPct.V, "%"})
	}
	return []Finding{{Code: CodePlanSummary, Severity: Info, Sentence: sentence, Numbers: numbers}}
}
