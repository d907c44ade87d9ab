package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/cmd/steelyard/internal/demo"
	"example.com/steelyard/testdata"
)

// playedDemo is what `demo --once --json` prints; it is the same each time.
var playedDemo = sync.OnceValues(func() (demo.Report, error) {
	var out, messages bytes.Buffer
	if code := run(context.Background(), []string{"demo", "--once", "--json"}, strings.NewReader(""), &out, &messages); code != exitOK || messages.Len() > 0 {
		return demo.Report{}, fmt.Errorf("exit code %d, on standard error: %s", code, messages.String())
	}
	d := json.NewDecoder(&out)
	d.DisallowUnknownFields()
	var report demo.Report
	if err := d.Decode(&report); err != nil {
		return demo.Report{}, err
	}
	if d.More() {
		return demo.Report{}, errors.New("there is more than one object on standard output")
	}
	return report, nil
})

func demoReport(t *testing.T) demo.Report {
	t.Helper()
	report, err := playedDemo()
	if err != nil {
		t.Fatal(err)
	}
	return report
}

func demoScenarios(t *testing.T) []demo.Scenario {
	t.Helper()
	scenarios, err := demo.Load(testdata.Demo())
	if err != nil {
		t.Fatal(err)
	}
	return scenarios
}

func hasFinding(l demo.Line, code string) bool {
	return slices.ContainsFunc(l.Findings, func(f demo.Finding) bool { return f.Code == code })
}

// loggedBy yields what a trainee of the demo has logged, with its day.
func loggedBy(t *testing.T, trainee string) iter.Seq2[string, *steelyardv1.Entry] {
	t.Helper()
	scenarios := demoScenarios(t)
	i := slices.IndexFunc(scenarios, func(sc demo.Scenario) bool { return sc.TraineeID == trainee })
	if i < 0 {
		t.Fatalf("there is no %s", trainee)
	}
	return func(yield func(string, *steelyardv1.Entry) bool) {
		for _, it := range scenarios[i].Log.Parts[0].Items {
			d := it.Entry.GetDate()
			day := time.Date(int(d.GetYear()), time.Month(d.GetMonth()), int(d.GetDay()), 0, 0, 0, 0, time.UTC)
			if !yield(day.Format(time.DateOnly), it.Entry) {
				return
			}
		}
	}
}

// find returns the lines of a trainee that match.
func find(lines []demo.Line, trainee string, match func(demo.Line) bool) []demo.Line {
	var out []demo.Line
	for _, l := range lines {
		if l.Trainee == trainee && match(l) {
			out = append(out, l)
		}
	}
	return out
}

// The demo shows what it is there to show. An engine that loses one of these
// fails here: write the logs anew (see TestGenerate) or change the story.
func TestDemoShowsTheWholeStory(t *testing.T) {
	lines := demoReport(t).Recommendations
	actions := map[string]int{}
	for _, l := range lines {
		actions[l.Action]++
	}
	for n, action := range steelyardv1.Action_name {
		if n != 0 && actions[action] == 0 {
			t.Errorf("nobody meets %s", action)
		}
	}
	for _, sc := range demoScenarios(t) {
		for _, code := range sc.InFull {
			if len(find(lines, sc.TraineeID, func(l demo.Line) bool { return hasFinding(l, code) })) == 0 {
				t.Errorf("%s is to show %s and never meets it", sc.TraineeID, code)
			}
		}
	}

	tests := []struct {
		what, trainee string
		match         func(demo.Line) bool
	}{
		{"a hold on track", "t-ferry", func(l demo.Line) bool {
			return l.Action == "ACTION_HOLD" && hasFinding(l, "ON_TRACK") && l.ProposedTarget == nil && len(l.Options) == 0
		}},
		{"a lowered balance with its options", "t-ferry", func(l demo.Line) bool {
			return l.Action == "ACTION_LOWER_BALANCE" && hasFinding(l, "TOO_SLOW") && len(l.Options) == 3 && *l.RatePctPerWeek < 0.55 &&
				l.ProposedTarget.IntakeKcal-l.ProposedTarget.ActivityKcal < l.CurrentTarget.IntakeKcal-l.CurrentTarget.ActivityKcal
		}},
		{"a loss of the first days that is told to be water", "t-ferry", func(l demo.Line) bool {
			return l.Action == "ACTION_HOLD" && l.ProposedTarget == nil &&
				slices.ContainsFunc(l.Findings, func(f demo.Finding) bool { return f.Code == "WATER_DAYS" && strings.Contains(f.Sentence, "water") })
		}},
		{"a refeed that changes nothing", "t-pebble", func(l demo.Line) bool {
			return l.Action == "ACTION_HOLD" && hasFinding(l, "REFEED_WATER") && l.IsReviewDue && l.ProposedTarget == nil
		}},
		{"a mistyped reading that is set aside", "t-pebble", func(l demo.Line) bool { return hasFinding(l, "READING_REFUSED") }},
		{"a gap in the log", "t-kettle", func(l demo.Line) bool { return hasFinding(l, "LOG_GAP") }},
		{"too little data after it", "t-kettle", func(l demo.Line) bool {
			return l.Action == "ACTION_KEEP_LOGGING" && hasFinding(l, "NOT_ENOUGH_READINGS")
		}},
		{"a target to be met first", "t-kettle", func(l demo.Line) bool {
			return l.Action == "ACTION_MEET_TARGET" && hasFinding(l, "TARGET_NOT_MET") && l.ProposedTarget == nil
		}},
		{"food given back after too fast a loss", "t-lantern", func(l demo.Line) bool {
			return l.Action == "ACTION_RAISE_BALANCE" && hasFinding(l, "TOO_FAST") && *l.RateHigh80 > 1 &&
				l.ProposedTarget.IntakeKcal-l.ProposedTarget.ActivityKcal > l.CurrentTarget.IntakeKcal-l.CurrentTarget.ActivityKcal
		}},
		{"a referral without a number", "t-harbour", func(l demo.Line) bool {
			return l.Action == "ACTION_REFER" && hasFinding(l, "DECLARED_CONDITION") && l.TrendWeightKg == nil && l.RatePctPerWeek == nil &&
				l.CurrentTarget == nil && l.ProposedTarget == nil && len(l.Options) == 0 && l.NextReview == ""
		}},
	}
	for _, c := range tests {
		if len(find(lines, c.trainee, c.match)) == 0 {
			t.Errorf("%s does not show %s", c.trainee, c.what)
		}
	}
}

// What each line holds is whole and finite, and none goes without its cautions.
func TestDemoLinesAreWhole(t *testing.T) {
	for _, l := range demoReport(t).Recommendations {
		where := l.Trainee + " on " + l.ReviewDate
		if _, err := time.Parse(time.DateOnly, l.ReviewDate); err != nil || !strings.HasPrefix(l.ReviewDate, "2025-") {
			t.Errorf("%s: not a day of the scenario", where)
		}
		if len(l.Cautions) == 0 || !slices.ContainsFunc(l.Cautions, func(c demo.Caution) bool { return strings.Contains(c.Sentence, "not medical advice") }) {
			t.Errorf("%s: cautions %v", where, l.Cautions)
		}
		if l.Headline == "" || len(l.Findings) == 0 || !strings.HasPrefix(l.Stage, "STAGE_") || !strings.HasPrefix(l.Action, "ACTION_") {
			t.Errorf("%s: %+v", where, l)
		}
		for _, c := range l.Cautions {
			if c.Code == "" || c.Sentence == "" {
				t.Errorf("%s: caution %+v", where, c)
			}
		}
		for _, f := range l.Findings {
			if f.Code == "" || f.Sentence == "" || !strings.HasPrefix(f.Severity, "SEVERITY_") {
				t.Errorf("%s: finding %+v", where, f)
			}
		}
		for _, v := range []*float64{l.TrendWeightKg, l.RatePctPerWeek, l.RateLow80, l.RateHigh80} {
			if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0) || *v == 0) {
				t.Errorf("%s: a number is %v", where, *v)
			}
		}
		if (l.RatePctPerWeek == nil) != (l.RateLow80 == nil) || l.RatePctPerWeek != nil && !(*l.RateLow80 < *l.RatePctPerWeek && *l.RatePctPerWeek < *l.RateHigh80) {
			t.Errorf("%s: the rate lies outside its range", where)
		}
	}
}

// In the log itself the first three days of the cut drop about a kilogram, and
// the trend hardly follows.
func TestDemoWaterIsInTheLog(t *testing.T) {
	kg := map[string]float64{}
	for day, it := range loggedBy(t, "t-ferry") {
		if it.GetWeighIn() != nil {
			kg[day] = it.GetWeighIn().GetWeight().GetValue()
		}
	}
	lines := demoReport(t).Recommendations
	start := find(lines, "t-ferry", func(l demo.Line) bool { return l.Action == "ACTION_START_DEFICIT" })
	look := find(lines, "t-ferry", func(l demo.Line) bool { return hasFinding(l, "WATER_DAYS") && l.Action == "ACTION_HOLD" })
	if len(start) != 1 || len(look) != 1 {
		t.Fatalf("%d starts, %d looks", len(start), len(look))
	}
	from, to := kg[start[0].ReviewDate], kg[look[0].ReviewDate]
	if from == 0 || to == 0 || from-to < 0.7 {
		t.Errorf("the scale goes from %.1f to %.1f kg", from, to)
	}
	if d := *start[0].TrendWeightKg - *look[0].TrendWeightKg; d > 0.4 {
		t.Errorf("the trend falls by %.2f kg with the water", d)
	}
}

// The mistyped reading hardly moves the trend.
func TestDemoTypingErrorMovesNothing(t *testing.T) {
	lines := find(demoReport(t).Recommendations, "t-pebble", func(l demo.Line) bool { return l.TrendWeightKg != nil })
	for i, l := range lines {
		if i > 0 && math.Abs(*l.TrendWeightKg-*lines[i-1].TrendWeightKg) > 1 {
			t.Errorf("the trend jumps to %.1f kg on %s", *l.TrendWeightKg, l.ReviewDate)
		}
	}
	if len(lines) < 5 {
		t.Errorf("only %d lines", len(lines))
	}
}
