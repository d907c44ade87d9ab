package demo

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	pb "example.com/steelyard/api/steelyard/v1"
)

func TestRatesAreSaidWithoutSigns(t *testing.T) {
	for _, c := range []struct {
		rate, low, high float64
		want            string
	}{
		{0.5, 0.25, 0.75, "a loss of 0.50 % of body weight a week (80 % range 0.25 to 0.75), or 0.40 kg"},
		{0.25, -0.25, 0.75, "a loss of 0.25 % of body weight a week (80 % range 0.25 gained to 0.75 lost), or 0.20 kg"},
		{-0.25, -0.75, 0.25, "a gain of 0.25 % of body weight a week (80 % range 0.75 gained to 0.25 lost), or 0.20 kg"},
		{-0.5, -0.75, -0.25, "a gain of 0.50 % of body weight a week (80 % range 0.25 to 0.75), or 0.40 kg"},
	} {
		if got := rateText(c.rate, &pb.Interval{Low: c.low, High: c.high}, 80); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

// What is absent in a recommendation is absent in the text and in the JSON.
func TestAbsentNumbersStayAbsent(t *testing.T) {
	v := Visit{
		Scenario: Scenario{TraineeID: "t-a"},
		Day:      time.Date(2025, 1, 6, 0, 0, 0, 0, time.UTC),
		Given: &pb.Recommendation{
			Stage: pb.Stage_STAGE_REFERRED, Action: pb.Action_ACTION_REFER, Headline: "Ask.",
			Cautions: []*pb.Caution{{Code: "C", Sentence: "Careful."}},
		},
	}
	l := LineOf(v)
	if l.TrendWeightKg != nil || l.RatePctPerWeek != nil || l.RateLow80 != nil || l.RateHigh80 != nil || l.CurrentTarget != nil || l.ProposedTarget != nil || l.NextReview != "" {
		t.Errorf("%+v", l)
	}
	var out bytes.Buffer
	if err := NewText(&out).Visit(v); err != nil {
		t.Fatal(err)
	}
	for _, label := range []string{"Trend weight", "Rate", "Target now", "Proposed", "How", "Why", "Hand method", "Decided", "Next review"} {
		if strings.Contains(out.String(), "  "+label) {
			t.Errorf("%s is told: %s", label, out.String())
		}
	}
	if !strings.Contains(out.String(), "Careful.") {
		t.Errorf("the caution is missing: %s", out.String())
	}
}

func TestLinesAreWrapped(t *testing.T) {
	got := wrap("aa bb cccccccccc d", 5)
	if strings.Join(got, "|") != "aa bb|cccccccccc|d" {
		t.Errorf("got %q", got)
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("full") }

func TestAWriteErrorIsTold(t *testing.T) {
	var w io.Writer = full{}
	if err := NewText(w).Scenario(Scenario{TraineeID: "t-a"}); err == nil {
		t.Error("a full disk goes unnoticed")
	}
}
