package demo

import (
	"fmt"
	"io"
	"math"
	"strings"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// Text prints visits as a coach would read them.
type Text struct {
	w   io.Writer
	err error
}

// NewText prints to w.
func NewText(w io.Writer) *Text { return &Text{w: w} }

const (
	textWidth  = 100
	labelWidth = 15
)

func (t *Text) printf(format string, args ...any) {
	if t.err == nil {
		_, t.err = fmt.Fprintf(t.w, format, args...)
	}
}

// row prints a label and wrapped text beside it; nothing when the text is empty.
func (t *Text) row(label, text string) {
	if text == "" {
		return
	}
	for i, line := range wrap(text, textWidth-labelWidth-2) {
		if i > 0 {
			label = ""
		}
		t.printf("  %-*s%s\n", labelWidth, label, line)
	}
}

func wrap(text string, width int) []string {
	var lines []string
	line := ""
	for word := range strings.FieldsSeq(text) {
		if line != "" && len(line)+1+len(word) > width {
			lines = append(lines, line)
			line = ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}

// Scenario prints who comes next.
func (t *Text) Scenario(sc Scenario) error {
	head := sc.TraineeID
	if n := sc.Trainee.GetDisplayName(); n != "" {
		head += ", " + n
	}
	t.printf("\n%s\n%s\n", head, strings.Repeat("=", len(head)))
	for _, line := range wrap(sc.About, textWidth) {
		t.printf("%s\n", line)
	}
	return t.err
}

// Visit prints a recommendation with its reasons and cautions.
func (t *Text) Visit(v Visit) error {
	r := v.Given
	t.printf("\n%s  day %d of the plan, %s\n", v.Day.Format("Mon 2006-01-02"), r.GetPlanDay(), words(r.GetStage().String(), "STAGE_"))
	t.row("Asked because", v.Why)
	t.row(capital(words(r.GetAction().String(), "ACTION_")), r.GetHeadline())
	t.estimate(r.GetEstimate())
	t.row("Target now", targetText(r.GetCurrentTarget()))
	if len(r.GetOptions()) == 0 {
		t.row("Proposed", targetText(r.GetProposedTarget()))
	}
	t.list("How", optionTexts(r.GetOptions()))
	var why []string
	for _, f := range r.GetFindings() {
		why = append(why, f.GetSentence())
	}
	t.list("Why", why)
	if p := r.GetPractice(); p != nil {
		t.row("Hand method", p.GetSentence()+" "+r.GetWhyDifferent())
	}
	if d := v.Decided; d != nil {
		t.row("Decided", targetText(d.GetTarget())+" from "+dateText(d.GetFromDate()))
	}
	t.row("Next review", dateText(r.GetNextReviewDate()))
	var cautions []string
	for _, c := range r.GetCautions() {
		cautions = append(cautions, c.GetSentence())
	}
	t.list("Cautions", cautions)
	return t.err
}

func (t *Text) estimate(e *steelyardv1.EnergyEstimate) {
	if e == nil {
		return
	}
	const z80 = 1.2816 // half-width of a normal 80 % interval, in standard deviations
	half := z80 * e.GetTrendWeightSdKg()
	t.row("Trend weight", fmt.Sprintf("%.1f kg (80 %% range %.1f to %.1f)", e.GetTrendWeightKg(), e.GetTrendWeightKg()-half, e.GetTrendWeightKg()+half))
	if e.RatePctPerWeek != nil {
		t.row("Rate", rateText(e.GetRatePctPerWeek(), e.GetRate_80(), e.GetTrendWeightKg()))
	}
}

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

// list prints items under one label.
func (t *Text) list(label string, items []string) {
	for i, s := range items {
		if i > 0 {
			label = ""
		}
		for j, line := range wrap(s, textWidth-labelWidth-4) {
			dash := "- "
			if j > 0 {
				dash, label = "  ", ""
			}
			t.printf("  %-*s%s%s\n", labelWidth, label, dash, line)
		}
	}
}

func targetText(t *steelyardv1.Target) string {
	if t == nil {
		return ""
	}
	s := fmt.Sprintf("%.0f kcal a day", t.GetIntakeKcal())
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

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
