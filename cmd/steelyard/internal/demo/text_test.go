package demo

import (
	"bytes"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/proto"

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

// printed is what the visits of a scenario come to, line by line.
func printed(t *testing.T, sc Scenario, visits ...Visit) []string {
	t.Helper()
	var out bytes.Buffer
	text := NewText(&out)
	if err := text.Scenario(sc); err != nil {
		t.Fatal(err)
	}
	for _, v := range visits {
		if err := text.Visit(v); err != nil {
			t.Fatal(err)
		}
	}
	return strings.Split(out.String(), "\n")
}

func count(lines []string, part string) int {
	n := 0
	for _, l := range lines {
		if strings.Contains(l, part) {
			n++
		}
	}
	return n
}

func aVisit(r *pb.Recommendation) Visit {
	return Visit{Day: time.Date(2025, 1, 6, 0, 0, 0, 0, time.UTC), Given: r}
}

// What is absent in a recommendation is absent in the text and in the JSON,
// even in full.
func TestAbsentNumbersStayAbsent(t *testing.T) {
	v := aVisit(&pb.Recommendation{
		Stage: pb.Stage_STAGE_REFERRED, Action: pb.Action_ACTION_REFER, Headline: "Ask.",
		Findings: []*pb.Finding{{Code: "F", Sentence: "Found."}},
		Cautions: []*pb.Caution{{Code: "C", Sentence: "Careful."}},
	})
	l := LineOf(v)
	if l.TrendWeightKg != nil || l.RatePctPerWeek != nil || l.RateLow80 != nil || l.RateHigh80 != nil || l.CurrentTarget != nil || l.ProposedTarget != nil || l.NextReview != "" {
		t.Errorf("%+v", l)
	}
	lines := printed(t, Scenario{TraineeID: "t-a", InFull: []string{"F"}}, v)
	for _, label := range []string{"Trend weight", "Rate", "Target now", "Proposed", "How", "Hand method", "Decided", "Next review"} {
		if count(lines, "    "+label) > 0 {
			t.Errorf("%s is told: %s", label, strings.Join(lines, "\n"))
		}
	}
	if !slices.Contains(lines, "2025-01-06     0  referred               refer") {
		t.Errorf("the line holds more than is known: %s", strings.Join(lines, "\n"))
	}
	if _, ok := SummaryOf(Scenario{}, &pb.Timeline{}); ok {
		t.Error("there is a summary of nothing")
	}
}

// The cautions of the first answer stand at the head; another one stands below
// the line that it came with.
func TestNoLineGoesWithoutItsCautions(t *testing.T) {
	usual := []*pb.Caution{{Code: "USUAL", Sentence: "Careful."}}
	more := []*pb.Caution{{Code: "USUAL", Sentence: "Careful."}, {Code: "MORE", Sentence: "More careful."}}
	lines := printed(t, Scenario{TraineeID: "t-a"},
		aVisit(&pb.Recommendation{Headline: "One.", Cautions: usual}), aVisit(&pb.Recommendation{Headline: "Two.", Cautions: more}),
		aVisit(&pb.Recommendation{Headline: "Three.", Cautions: more}))
	if !slices.Contains(lines, "- Careful.") || count(lines, "Careful.") != 1 {
		t.Errorf("the usual caution: %s", strings.Join(lines, "\n"))
	}
	for _, headline := range []string{"Two.", "Three."} {
		i := slices.Index(lines, strings.Repeat(" ", lineIndent)+headline)
		if i < 0 || lines[i+1] != strings.Repeat(" ", lineIndent)+"Caution: More careful." {
			t.Errorf("no caution below %s %s", headline, strings.Join(lines, "\n"))
		}
	}
	// The head is each scenario's own.
	var out bytes.Buffer
	text := NewText(&out)
	for _, c := range [][]*pb.Caution{more, usual} {
		if err := errors.Join(text.Scenario(Scenario{TraineeID: "t-a"}), text.Visit(aVisit(&pb.Recommendation{Cautions: c}))); err != nil {
			t.Fatal(err)
		}
	}
	if n := strings.Count(out.String(), "- Careful."); n != 2 {
		t.Errorf("the usual caution stands at %d of 2 heads", n)
	}
}

// A finding that is to be shown brings its first answer in full, once; beside
// that, what is worth acting on is told, and all of it to somebody who asked.
func TestWhatIsToldBesideTheHeadline(t *testing.T) {
	r := &pb.Recommendation{
		Headline: "The reason. So hold.", Cautions: []*pb.Caution{{Code: "C", Sentence: "Careful."}}, NextReviewDate: &date.Date{Year: 2025, Month: 1, Day: 13},
		Findings: []*pb.Finding{
			{Code: "REASON", Severity: pb.Severity_SEVERITY_NOTICE, Sentence: "The reason."},
			{Code: "ASIDE", Severity: pb.Severity_SEVERITY_NOTICE, Sentence: "By the way."},
			{Code: "TRIFLE", Severity: pb.Severity_SEVERITY_INFO, Sentence: "Nice to know."},
		},
	}
	asked := aVisit(r)
	asked.Why = "a look was due"
	for _, c := range []struct {
		what                   string
		inFull                 []string
		visits                 []Visit
		reason, aside, trifle  int
		nextReviews, nCautions int
		isAskedBecause         bool
	}{
		{"a line", nil, []Visit{aVisit(r)}, 1, 1, 0, 0, 1, false},
		{"a line that was asked for", nil, []Visit{asked}, 1, 1, 1, 0, 1, true},
		{"in full, once", []string{"TRIFLE"}, []Visit{aVisit(r), aVisit(r)}, 3, 2, 1, 1, 2, false},
	} {
		lines := printed(t, Scenario{TraineeID: "t-a", InFull: c.inFull}, c.visits...)
		if count(lines, "The reason.") != c.reason || count(lines, "- By the way.") != c.aside || count(lines, "- Nice to know.") != c.trifle ||
			count(lines, "Next review    2025-01-13") != c.nextReviews || count(lines, "Careful.") != c.nCautions ||
			(count(lines, "(Asked because a look was due.)") == 1) != c.isAskedBecause {
			t.Errorf("%s: %s", c.what, strings.Join(lines, "\n"))
		}
	}
}

// The end tells what was given, what is due and the cautions; nothing after a
// referral, and nothing where nothing is known.
func TestEnding(t *testing.T) {
	rate := 0.61
	tl := &pb.Timeline{
		Stage: pb.Stage_STAGE_FINISHED,
		Summary: &pb.PlanSummary{
			Days: 100, StartWeightKg: 90, EndWeightKg: 81, LostPct: 10, Refeeds: 1, StartMaintenanceKcal: 2600, EndMaintenanceKcal: 2300,
			Periods: []*pb.PlanPeriod{
				{StartDate: &date.Date{Year: 2025, Month: 1, Day: 6}, EndDate: &date.Date{Year: 2025, Month: 1, Day: 19}, Action: pb.Action_ACTION_START_DEFICIT, LostKg: proto.Float64(1.1), RatePctPerWeek: &rate},
				{StartDate: &date.Date{Year: 2025, Month: 1, Day: 20}, EndDate: &date.Date{Year: 2025, Month: 1, Day: 21}, Action: pb.Action_ACTION_TAKE_BREAK, LostKg: proto.Float64(-0.2)},
				{StartDate: &date.Date{Year: 2025, Month: 1, Day: 22}, EndDate: &date.Date{Year: 2025, Month: 2, Day: 1}, Action: pb.Action_ACTION_FINISH, LostKg: proto.Float64(-0.04), RatePctPerWeek: &rate},
			},
		},
		Events:   []*pb.TimelineEvent{{Sentence: "It began."}, {IsDue: true, Sentence: "A talk is due."}},
		Cautions: []*pb.Caution{{Code: "C", Sentence: "Careful."}},
	}
	end := func() string {
		var out bytes.Buffer
		if err := NewText(&out).Ending(Scenario{}, tl); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	got := end()
	for _, want := range []string{
		"What 100 days have given:", "90.0 kg at the start, 81.0 kg now: 10.0 % of the starting weight lost\n", "2600 kcal a day at the start, 2300 now",
		"On the way     1 refeed\n", "2025-01-06  start deficit           14 days  1.1 kg lost, 0.61 % a week\n",
		"2025-01-20  take break               2 days  0.2 kg gained\n", "2025-01-22  finish                  11 days  steady\n", "Due            - A talk is due.", "Cautions       - Careful.",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing in %s", want, got)
		}
	}
	for _, no := range []string{"It began.", "Strength", "over the days of the cut"} {
		if strings.Contains(got, no) {
			t.Errorf("%q is told in %s", no, got)
		}
	}
	tl.Stage = pb.Stage_STAGE_WEEKLY_REVIEWS
	if got := end(); strings.Contains(got, "Step by step") || !strings.Contains(got, "A talk is due.") {
		t.Errorf("on the way: %s", got)
	}
	tl.Stage = pb.Stage_STAGE_REFERRED
	if got := end(); got != "" {
		t.Errorf("after a referral: %s", got)
	}
	if _, ok := SummaryOf(Scenario{}, tl); ok {
		t.Error("there is a summary after a referral")
	}
	if tl = (&pb.Timeline{}); end() != "" {
		t.Error("there is an end to nothing")
	}
}

func TestTargetsAreSaidWhole(t *testing.T) {
	every, refeed, week, weekend := int32(10), 2600.0, 1840.0, 2050.0
	for _, c := range []struct {
		target      *pb.Target
		short, full string
	}{
		{nil, "", ""},
		{&pb.Target{IntakeKcal: 1900}, "1900", "1900 kcal a day"},
		{
			&pb.Target{IntakeKcal: 1900, ActivityKcal: 125, RefeedEveryDays: &every, RefeedIntakeKcal: &refeed, WeekdayIntakeKcal: &week, WeekendIntakeKcal: &weekend},
			"1900, walk 125",
			"1900 kcal a day (1840 Monday to Friday, 2050 on Saturday and Sunday), 2600 kcal on one day in 10 and 125 kcal a day of walking",
		},
	} {
		if short, full := shortTarget(c.target), targetText(c.target); short != c.short || full != c.full {
			t.Errorf("%q, %q", short, full)
		}
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
