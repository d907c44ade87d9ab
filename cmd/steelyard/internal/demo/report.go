package demo

import (
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/type/date"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// Report is the demo as JSON. What is not known is absent.
type Report struct {
	Recommendations []Line    `json:"recommendations"`
	Summaries       []Summary `json:"summaries"`
}

// Summary is what a plan has given by the end of its log.
type Summary struct {
	Trainee              string    `json:"trainee"`
	AsOfDate             string    `json:"as_of_date"`
	Stage                string    `json:"stage"`
	Days                 int32     `json:"days"`
	StartWeightKg        float64   `json:"start_weight_kg"`
	EndWeightKg          float64   `json:"end_weight_kg"`
	LostPct              float64   `json:"lost_pct"`
	MeanRatePctPerWeek   *float64  `json:"mean_rate_pct_per_week,omitempty"`
	StartMaintenanceKcal float64   `json:"start_maintenance_kcal"`
	EndMaintenanceKcal   float64   `json:"end_maintenance_kcal"`
	BreakDays            int32     `json:"break_days"`
	Refeeds              int32     `json:"refeeds"`
	StrengthRetentionPct *float64  `json:"strength_retention_pct,omitempty"`
	Periods              []Period  `json:"periods"`
	Due                  []Due     `json:"due"`
	Cautions             []Caution `json:"cautions"`
}

// Period is the days under one target, both ends included.
type Period struct {
	StartDate      string   `json:"start_date"`
	EndDate        string   `json:"end_date"`
	Action         string   `json:"action"`
	Target         *Target  `json:"target,omitempty"`
	LostKg         *float64 `json:"lost_kg,omitempty"`
	RatePctPerWeek *float64 `json:"rate_pct_per_week,omitempty"`
}

// Due is an event of a plan that is still to come, or overdue.
type Due struct {
	Date     string `json:"date"`
	Kind     string `json:"kind"`
	Sentence string `json:"sentence"`
}

// Line is one recommendation of a report. Rates are % of body weight a week,
// positive for a loss; energies are kcal a day.
type Line struct {
	Trainee        string    `json:"trainee"`
	ReviewDate     string    `json:"review_date"`
	IsReviewDue    bool      `json:"is_review_due"`
	Stage          string    `json:"stage"`
	Action         string    `json:"action"`
	Headline       string    `json:"headline"`
	TrendWeightKg  *float64  `json:"trend_weight_kg,omitempty"`
	RatePctPerWeek *float64  `json:"rate_pct_per_week,omitempty"`
	RateLow80      *float64  `json:"rate_low_80,omitempty"`
	RateHigh80     *float64  `json:"rate_high_80,omitempty"`
	CurrentTarget  *Target   `json:"current_target,omitempty"`
	ProposedTarget *Target   `json:"proposed_target,omitempty"`
	Options        []Option  `json:"options"`
	Findings       []Finding `json:"findings"`
	Cautions       []Caution `json:"cautions"`
	NextReview     string    `json:"next_review,omitempty"`
}

// Target is a prescription, kcal a day.
type Target struct {
	IntakeKcal        float64  `json:"intake_kcal"`
	ActivityKcal      float64  `json:"activity_kcal"`
	RefeedEveryDays   *int32   `json:"refeed_every_days,omitempty"`
	RefeedIntakeKcal  *float64 `json:"refeed_intake_kcal,omitempty"`
	WeekdayIntakeKcal *float64 `json:"weekday_intake_kcal,omitempty"`
	WeekendIntakeKcal *float64 `json:"weekend_intake_kcal,omitempty"`
}

// Option is one way to make the change.
type Option struct {
	Lever                     string   `json:"lever"`
	IsPossible                bool     `json:"is_possible"`
	WhyNot                    string   `json:"why_not,omitempty"`
	IsRecommended             bool     `json:"is_recommended"`
	Target                    *Target  `json:"target,omitempty"`
	IntakeChangeKcalPerDay    *float64 `json:"intake_change_kcal_per_day,omitempty"`
	IntakeChangeKcalPerWeek   *float64 `json:"intake_change_kcal_per_week,omitempty"`
	ActivityChangeKcalPerDay  *float64 `json:"activity_change_kcal_per_day,omitempty"`
	ActivityChangeKcalPerWeek *float64 `json:"activity_change_kcal_per_week,omitempty"`
	StepsPerDay               *int32   `json:"steps_per_day,omitempty"`
	WalkMinutesPerDay         *float64 `json:"walk_minutes_per_day,omitempty"`
}

// Finding is a reason.
type Finding struct {
	Code     string `json:"code"`
	Severity string `json:"severity"`
	Sentence string `json:"sentence"`
}

// Caution is what to be careful about.
type Caution struct {
	Code     string `json:"code"`
	Sentence string `json:"sentence"`
}

// LineOf writes a visit as a line of a report. Enums have the API's own names.
func LineOf(v Visit) Line {
	r := v.Given
	l := Line{
		Trainee: v.Scenario.TraineeID, ReviewDate: v.Day.Format(time.DateOnly), IsReviewDue: r.GetIsReviewDue(),
		Stage: r.GetStage().String(), Action: r.GetAction().String(), Headline: r.GetHeadline(),
		CurrentTarget: targetOf(r.GetCurrentTarget()), ProposedTarget: targetOf(r.GetProposedTarget()),
		Options: []Option{}, Findings: []Finding{}, Cautions: cautionsOf(r.GetCautions()),
		NextReview: dateText(r.GetNextReviewDate()),
	}
	if e := r.GetEstimate(); e != nil {
		l.TrendWeightKg, l.RatePctPerWeek = &e.TrendWeightKg, e.RatePctPerWeek
		if i := e.GetRate_80(); i != nil {
			l.RateLow80, l.RateHigh80 = &i.Low, &i.High
		}
	}
	for _, o := range r.GetOptions() {
		l.Options = append(l.Options, Option{
			Lever: o.GetLever().String(), IsPossible: o.GetIsPossible(), WhyNot: o.GetWhyNot(), IsRecommended: o.GetIsRecommended(),
			Target:                    targetOf(o.GetTarget()),
			IntakeChangeKcalPerDay:    o.IntakeChangeKcalPerDay,
			IntakeChangeKcalPerWeek:   o.IntakeChangeKcalPerWeek,
			ActivityChangeKcalPerDay:  o.ActivityChangeKcalPerDay,
			ActivityChangeKcalPerWeek: o.ActivityChangeKcalPerWeek,
			StepsPerDay:               o.StepsPerDay,
			WalkMinutesPerDay:         o.WalkMinutesPerDay,
		})
	}
	for _, f := range r.GetFindings() {
		l.Findings = append(l.Findings, Finding{Code: f.GetCode(), Severity: f.GetSeverity().String(), Sentence: f.GetSentence()})
	}
	return l
}

func cautionsOf(cautions []*steelyardv1.Caution) []Caution {
	out := []Caution{}
	for _, c := range cautions {
		out = append(out, Caution{Code: c.GetCode(), Sentence: c.GetSentence()})
	}
	return out
}

// SummaryOf writes what a timeline sums up; false when too little is known,
// and after a referral, which gives no numbers.
func SummaryOf(sc Scenario, tl *steelyardv1.Timeline) (Summary, bool) {
	s := tl.GetSummary()
	if s == nil || tl.GetStage() == steelyardv1.Stage_STAGE_REFERRED {
		return Summary{}, false
	}
	out := Summary{
		Trainee: sc.TraineeID, AsOfDate: dateText(tl.GetAsOfDate()), Stage: tl.GetStage().String(), Days: s.GetDays(),
		StartWeightKg: s.GetStartWeightKg(), EndWeightKg: s.GetEndWeightKg(), LostPct: s.GetLostPct(), MeanRatePctPerWeek: s.MeanRatePctPerWeek,
		StartMaintenanceKcal: s.GetStartMaintenanceKcal(), EndMaintenanceKcal: s.GetEndMaintenanceKcal(),
		BreakDays: s.GetBreakDays(), Refeeds: s.GetRefeeds(), StrengthRetentionPct: s.StrengthRetentionPct,
		Periods: []Period{}, Due: []Due{}, Cautions: cautionsOf(tl.GetCautions()),
	}
	for _, p := range s.GetPeriods() {
		out.Periods = append(out.Periods, Period{
			StartDate: dateText(p.GetStartDate()), EndDate: dateText(p.GetEndDate()), Action: p.GetAction().String(),
			Target: targetOf(p.GetTarget()), LostKg: p.LostKg, RatePctPerWeek: p.RatePctPerWeek,
		})
	}
	for _, e := range tl.GetEvents() {
		if e.GetIsDue() {
			out.Due = append(out.Due, Due{Date: dateText(e.GetDate()), Kind: e.GetKind().String(), Sentence: e.GetSentence()})
		}
	}
	return out, true
}

func targetOf(t *steelyardv1.Target) *Target {
	if t == nil {
		return nil
	}
	return &Target{
		IntakeKcal: t.GetIntakeKcal(), ActivityKcal: t.GetActivityKcal(),
		RefeedEveryDays: t.RefeedEveryDays, RefeedIntakeKcal: t.RefeedIntakeKcal,
		WeekdayIntakeKcal: t.WeekdayIntakeKcal, WeekendIntakeKcal: t.WeekendIntakeKcal,
	}
}

func dateText(d *date.Date) string {
	if d == nil {
		return ""
	}
	return fromDate(d).Format(time.DateOnly)
}

// words makes an enum's name readable: STAGE_WEEKLY_REVIEWS is "weekly reviews".
func words(name, prefix string) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(name, prefix), "_", " "))
}
