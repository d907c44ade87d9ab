package demo

import (
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/type/date"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// Report is the demo as JSON. What is not known is absent.
type Report struct {
	Recommendations []Line `json:"recommendations"`
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
	IntakeKcal   float64 `json:"intake_kcal"`
	ActivityKcal float64 `json:"activity_kcal"`
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
		Options: []Option{}, Findings: []Finding{}, Cautions: []Caution{},
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
	for _, c := range r.GetCautions() {
		l.Cautions = append(l.Cautions, Caution{Code: c.GetCode(), Sentence: c.GetSentence()})
	}
	return l
}

func targetOf(t *steelyardv1.Target) *Target {
	if t == nil {
		return nil
	}
	return &Target{IntakeKcal: t.GetIntakeKcal(), ActivityKcal: t.GetActivityKcal()}
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
