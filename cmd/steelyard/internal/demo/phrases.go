package demo

import (
	"fmt"
	"math"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// rateText says a rate, which is positive for a loss, and its range without signs.
func rateText(rate float64, r *steelyardv1.Interval, weightKg float64) string {
	word, between := "loss", fmt.Sprintf("%.2f to %.2f", r.GetLow(), r.GetHigh())
	switch {
	case r.GetLow() < 0 && r.GetHigh() > 0:
		between = fmt.Sprintf("%.2f gained to %.2f lost", -r.GetLow(), r.GetHigh())
	case r.GetHigh() <= 0:
		between = fmt.Sprintf("%.2f to %.2f", -r.GetHigh(), -r.GetLow())
	}
	if rate < 0 {
		word = "gain"
	}
	return fmt.Sprintf("a %s of %.2f %% of body weight a week (80 %% range %s), or %.2f kg",
		word, math.Abs(rate), between, math.Abs(rate)/100*weightKg)
}

// shortTarget says a prescription in a table: "1900, walk 125".
func shortTarget(t *steelyardv1.Target) string {
	if t == nil {
		return ""
	}
	s := fmt.Sprintf("%.0f", t.GetIntakeKcal())
	if t.GetActivityKcal() > 0 {
		s += fmt.Sprintf(", walk %.0f", t.GetActivityKcal())
	}
	return s
}

func targetText(t *steelyardv1.Target) string {
	if t == nil {
		return ""
	}
	s := fmt.Sprintf("%.0f kcal a day", t.GetIntakeKcal())
	if t.WeekendIntakeKcal != nil {
		s += fmt.Sprintf(" (%.0f Monday to Friday, %.0f on Saturday and Sunday)", t.GetWeekdayIntakeKcal(), t.GetWeekendIntakeKcal())
	}
	if t.RefeedEveryDays != nil {
		s += fmt.Sprintf(", %.0f kcal on one day in %d", t.GetRefeedIntakeKcal(), t.GetRefeedEveryDays())
	}
	if t.GetActivityKcal() > 0 {
		s += fmt.Sprintf(" and %.0f kcal a day of walking", t.GetActivityKcal())
	}
	return s
}

// optionTexts says each way to make the change, per day and per week.
func optionTexts(options []*steelyardv1.LeverOption) []string {
	var out []string
	for _, o := range options {
		s := words(o.GetLever().String(), "LEVER_")
		if o.GetIsRecommended() {
			s += " (recommended)"
		}
		if !o.GetIsPossible() {
			out = append(out, s+": "+o.GetWhyNot())
			continue
		}
		s += ": " + targetText(o.GetTarget())
		if c := o.GetIntakeChangeKcalPerDay(); c != 0 {
			s += fmt.Sprintf("; food %s a day, %s a week", kcalChange(c), kcalChange(o.GetIntakeChangeKcalPerWeek()))
		}
		if c := o.GetActivityChangeKcalPerDay(); c != 0 {
			s += fmt.Sprintf("; walking %s a day, %s a week", kcalChange(c), kcalChange(o.GetActivityChangeKcalPerWeek()))
			if o.StepsPerDay != nil && o.WalkMinutesPerDay != nil {
				s += fmt.Sprintf(", about %.0f steps or %.0f minutes a day", math.Abs(float64(o.GetStepsPerDay())), math.Abs(o.GetWalkMinutesPerDay()))
			}
		}
		out = append(out, s)
	}
	return out
}

func kcalChange(kcal float64) string { return fmt.Sprintf("%+.0f kcal", kcal) }
