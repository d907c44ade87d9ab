package demo

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
)

// Text prints the walk through each scenario, a recommendation after the other.
type Text struct {
	w   io.Writer
	err error

	isBegun bool            // the present scenario has shown a recommendation
	told    map[string]bool // codes of the cautions at its head
	inFull  []string        // what is still to be printed in full
}

// NewText prints to w.
func NewText(w io.Writer) *Text { return &Text{w: w} }

const (
	textWidth  = 100
	lineIndent = 18 // of what stands below a line: under its stage
	fullIndent = 4  // of a recommendation in full
	labelWidth = 15
)

func (t *Text) printf(format string, args ...any) {
	if t.err == nil {
		_, t.err = fmt.Fprintf(t.w, format, args...)
	}
}

// Scenario prints who comes next.
func (t *Text) Scenario(sc Scenario) error {
	t.isBegun, t.told, t.inFull = false, map[string]bool{}, slices.Clone(sc.InFull)
	head := sc.TraineeID
	if n := sc.Trainee.GetDisplayName(); n != "" {
		head += ", " + n
	}
	t.printf("\n\n%s\n%s\n", head, strings.Repeat("=", len(head)))
	t.paragraph(0, sc.About)
	return t.err
}

// Visit prints a recommendation: a line and its headline, and more where there
// is more to see. The cautions of the first one stand at the head of the table;
// any other stands below the line that it came with.
func (t *Text) Visit(v Visit) error {
	r := v.Given
	if !t.isBegun {
		t.begin(r)
	}
	trend, target := "", r.GetCurrentTarget()
	if e := r.GetEstimate(); e != nil {
		trend = fmt.Sprintf("%.1f kg", e.GetTrendWeightKg())
	}
	if v.Decided != nil {
		target = v.Decided.GetTarget()
	}
	t.line(v.Day.Format(time.DateOnly), fmt.Sprint(r.GetPlanDay()), words(r.GetStage().String(), "STAGE_"),
		words(r.GetAction().String(), "ACTION_"), trend, shortTarget(target))
	if v.Why != "" {
		t.paragraph(lineIndent, "(Asked because "+v.Why+".)")
	}
	t.paragraph(lineIndent, r.GetHeadline())
	if t.isToShow(r) {
		t.full(v)
		return t.err
	}
	t.asides(v)
	for _, c := range r.GetCautions() {
		if !t.told[c.GetCode()] {
			t.paragraph(lineIndent, "Caution: "+c.GetSentence())
		}
	}
	return t.err
}

func (t *Text) begin(r *steelyardv1.Recommendation) {
	t.isBegun = true
	t.printf("\nCautions, which come with every line below:\n")
	for _, c := range r.GetCautions() {
		t.told[c.GetCode()] = true
		t.bullet(0, c.GetSentence())
	}
	t.printf("\n")
	t.line("Date", "Day", "Stage", "Recommended", "Trend", "kcal/d from then")
	t.printf("%s\n", strings.Repeat("-", textWidth))
}

func (t *Text) line(date, day, stage, action, trend, target string) {
	s := fmt.Sprintf("%-10s  %4s  %-21s  %-21s  %8s  %s", date, day, stage, action, trend, target)
	t.printf("%s\n", strings.TrimRight(s, " "))
}

// isToShow reports whether a recommendation is the first with one of the
// findings that the scenario shows in full.
func (t *Text) isToShow(r *steelyardv1.Recommendation) bool {
	left := slices.DeleteFunc(slices.Clone(t.inFull), func(code string) bool {
		return slices.ContainsFunc(r.GetFindings(), func(f *steelyardv1.Finding) bool { return f.GetCode() == code })
	})
	isFirst := len(left) < len(t.inFull)
	t.inFull = left
	return isFirst
}

// asides prints what a recommendation brings up beside its own reason, which
// the headline has said: all of it where somebody asked between reviews.
func (t *Text) asides(v Visit) {
	least := steelyardv1.Severity_SEVERITY_NOTICE
	if v.Why != "" {
		least = steelyardv1.Severity_SEVERITY_INFO
	}
	for i, f := range v.Given.GetFindings() {
		if i > 0 && f.GetSeverity() >= least && !strings.Contains(v.Given.GetHeadline(), f.GetSentence()) {
			t.bullet(lineIndent, f.GetSentence())
		}
	}
}

// full prints all that a recommendation says.
func (t *Text) full(v Visit) {
	r := v.Given
	t.printf("\n")
	t.estimate(r.GetEstimate())
	t.row("Target now", targetText(r.GetCurrentTarget()))
	if len(r.GetOptions()) == 0 {
		t.row("Proposed", targetText(r.GetProposedTarget()))
	}
	t.list("How", optionTexts(r.GetOptions()))
	var why, cautions []string
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
	for _, c := range r.GetCautions() {
		cautions = append(cautions, c.GetSentence())
	}
	t.list("Cautions", cautions)
	t.printf("\n")
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
