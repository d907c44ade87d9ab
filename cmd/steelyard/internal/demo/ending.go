package demo

import (
	"fmt"
	"math"
	"strings"
	"time"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// Ending prints what a plan has given, and what is due next. Of a finished plan
// it tells each period too; after a referral, which gives no numbers, nothing.
func (t *Text) Ending(_ Scenario, tl *steelyardv1.Timeline) error {
	s := tl.GetSummary()
	if s == nil || tl.GetStage() == steelyardv1.Stage_STAGE_REFERRED {
		return t.err
	}
	t.printf("\nWhat %s have given:\n", counted(s.GetDays(), "day"))
	weight := fmt.Sprintf("%.1f kg at the start, %.1f kg now: %.1f %% of the starting weight lost", s.GetStartWeightKg(), s.GetEndWeightKg(), s.GetLostPct())
	if s.MeanRatePctPerWeek != nil {
		weight += fmt.Sprintf(", %.2f %% a week over the days of the cut", s.GetMeanRatePctPerWeek())
	}
	t.row("Trend weight", weight)
	t.row("Maintenance", fmt.Sprintf("%.0f kcal a day at the start, %.0f now", s.GetStartMaintenanceKcal(), s.GetEndMaintenanceKcal()))
	t.row("On the way", onTheWay(s))
	if s.StrengthRetentionPct != nil {
		t.row("Strength", fmt.Sprintf("%.0f %% of what it was before the cut, middle of the lifts", s.GetStrengthRetentionPct()))
	}
	if tl.GetStage() == steelyardv1.Stage_STAGE_FINISHED {
		t.periods(s.GetPeriods())
	}
	var due, cautions []string
	for _, e := range tl.GetEvents() {
		if e.GetIsDue() {
			due = append(due, e.GetSentence())
		}
	}
	t.list("Due", due)
	for _, c := range tl.GetCautions() {
		cautions = append(cautions, c.GetSentence())
	}
	t.list("Cautions", cautions)
	return t.err
}

// onTheWay says what helped; empty when nothing did.
func onTheWay(s *steelyardv1.PlanSummary) string {
	var parts []string
	if n := s.GetBreakDays(); n > 0 {
		parts = append(parts, counted(n, "day")+" of diet break")
	}
	if n := s.GetRefeeds(); n > 0 {
		parts = append(parts, counted(n, "refeed"))
	}
	return strings.Join(parts, ", ")
}

func counted(n int32, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// periods tells what held from when on, for how long, and what it gave.
func (t *Text) periods(periods []*steelyardv1.PlanPeriod) {
	label := "Step by step"
	for _, p := range periods {
		days := int(fromDate(p.GetEndDate()).Sub(fromDate(p.GetStartDate()))/(24*time.Hour)) + 1
		rate := ""
		if p.RatePctPerWeek != nil && math.Round(10*p.GetLostKg()) != 0 {
			rate = fmt.Sprintf(", %.2f %% a week", math.Abs(p.GetRatePctPerWeek()))
		}
		t.printf("%*s%-*s%s  %-21s  %3d days  %s%s\n", fullIndent, "", labelWidth, label,
			dateText(p.GetStartDate()), words(p.GetAction().String(), "ACTION_"), days, changeText(p.LostKg), rate)
		label = ""
	}
}

func changeText(lostKg *float64) string {
	if lostKg == nil {
		return "not known"
	}
	switch tenths := math.Round(10 * *lostKg); {
	case tenths < 0:
		return fmt.Sprintf("%.1f kg gained", -*lostKg)
	case tenths > 0:
		return fmt.Sprintf("%.1f kg lost", *lostKg)
	}
	return "steady"
}
