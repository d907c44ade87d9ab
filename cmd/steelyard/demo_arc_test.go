package main

import (
	"math"
	"slices"
	"testing"
	"time"

	"example.com/steelyard/cmd/steelyard/internal/demo"
)

// What is known of the first trainee of the demo, whose life is invented; see
// the generator of its log.
const (
	arcTrainee  = "t-anchor"
	arcStartKg  = 96.0
	arcGoalKg   = 86.0 // of its plan
	arcWithinKg = 0.8  // how near the trend must come
	arcBeyondKg = 1.3  // most that is lost beyond the goal: until the next review, and in the first step back
)

func arcLines(t *testing.T) []demo.Line {
	t.Helper()
	return find(demoReport(t).Recommendations, arcTrainee, func(demo.Line) bool { return true })
}

// inOrder returns the first of want that does not come, in this order, in got;
// empty when all do.
func inOrder(got, want []string) string {
	for _, w := range want {
		i := slices.Index(got, w)
		if i < 0 {
			return w
		}
		got = got[i:]
	}
	return ""
}

// The first trainee goes the whole way, and every stage is seen on it.
func TestDemoArcGoesTheWholeWay(t *testing.T) {
	if first := demoScenarios(t)[0].TraineeID; first != arcTrainee {
		t.Errorf("the demo begins with %s", first)
	}
	var stages, actions []string
	for _, l := range arcLines(t) {
		stages, actions = append(stages, l.Stage), append(actions, l.Action)
	}
	if missing := inOrder(stages, []string{
		"STAGE_MAINTENANCE_TEST", "STAGE_OPENING_DEFICIT", "STAGE_WEEKLY_REVIEWS", "STAGE_BASE_ACTIVITY", "STAGE_WEEKLY_REVIEWS", "STAGE_PAUSED",
		"STAGE_WEEKLY_REVIEWS", "STAGE_DIET_BREAK", "STAGE_WEEKLY_REVIEWS", "STAGE_RETURN_TO_MAINTENANCE", "STAGE_FINISHED",
	}); missing != "" {
		t.Errorf("%s is not reached in its turn: %v", missing, stages)
	}
	if missing := inOrder(actions, []string{
		"ACTION_KEEP_LOGGING", "ACTION_START_DEFICIT", "ACTION_HOLD", "ACTION_ADD_BASE_ACTIVITY", "ACTION_LOWER_BALANCE", "ACTION_CHANGE_REFEEDS",
		"ACTION_EASE", "ACTION_TAKE_BREAK", "ACTION_START_DEFICIT", "ACTION_HOLD", "ACTION_CHANGE_REFEEDS",
		"ACTION_RETURN_TO_MAINTENANCE", "ACTION_HOLD", "ACTION_FINISH",
	}); missing != "" {
		t.Errorf("%s does not come in its turn: %v", missing, actions)
	}
	for _, code := range []string{"READING_REFUSED", "GOAL_REACHED", "STEP_TO_MAINTENANCE", "WATER_COMES_BACK", "PLAN_FINISHED"} {
		if !slices.ContainsFunc(arcLines(t), func(l demo.Line) bool { return hasFinding(l, code) }) {
			t.Errorf("%s is not met on the way", code)
		}
	}
}

// The numbers of the way are those of the invented life.
func TestDemoArcNumbersArePlausible(t *testing.T) {
	i := slices.IndexFunc(demoReport(t).Summaries, func(s demo.Summary) bool { return s.Trainee == arcTrainee })
	if i < 0 {
		t.Fatal("the arc has no summary")
	}
	s := demoReport(t).Summaries[i]
	if s.Days < 150 || s.Days > 200 {
		t.Errorf("it takes %d days", s.Days)
	}
	if math.Abs(s.StartWeightKg-arcStartKg) > arcWithinKg || s.EndWeightKg > arcGoalKg+0.3 || s.EndWeightKg < arcGoalKg-arcBeyondKg {
		t.Errorf("from %.1f to %.1f kg", s.StartWeightKg, s.EndWeightKg)
	}
	if want := 100 * (arcStartKg - s.EndWeightKg) / arcStartKg; math.Abs(s.LostPct-want) > 1 {
		t.Errorf("%.1f %% lost, about %.1f of the invented start", s.LostPct, want)
	}
	if r := s.MeanRatePctPerWeek; r == nil || *r < 0.5 || *r > 1 {
		t.Errorf("mean rate %v, outside the plan's band", r)
	}
	if s.BreakDays != 10 || s.Refeeds < 4 || s.EndMaintenanceKcal >= s.StartMaintenanceKcal {
		t.Errorf("%d days of break, %d refeeds, maintenance from %.0f to %.0f", s.BreakDays, s.Refeeds, s.StartMaintenanceKcal, s.EndMaintenanceKcal)
	}
	if p := s.StrengthRetentionPct; p == nil || *p < 95 || *p > 115 {
		t.Errorf("strength retention %v", p)
	}
	if len(s.Due) > 0 || len(s.Cautions) == 0 {
		t.Errorf("after the end %v is due, cautions %v", s.Due, s.Cautions)
	}
	lost, day := 0.0, s.Periods[0].StartDate
	for _, p := range s.Periods {
		if p.StartDate != day || p.Target == nil {
			t.Errorf("a period from %s, the one before it ends before %s", p.StartDate, day)
		}
		end, err := time.Parse(time.DateOnly, p.EndDate)
		if err != nil {
			t.Fatal(err)
		}
		if p.LostKg == nil {
			t.Fatalf("nothing is known of the period from %s", p.StartDate)
		}
		lost, day = lost+*p.LostKg, end.AddDate(0, 0, 1).Format(time.DateOnly)
	}
	if math.Abs(lost-(s.StartWeightKg-s.EndWeightKg)) > 0.05 {
		t.Errorf("the periods add up to %.2f kg, the plan to %.2f", lost, s.StartWeightKg-s.EndWeightKg)
	}
}

// Pictures are logged when they are due, and the API knows of them.
func TestDemoArcPicturesAreKnown(t *testing.T) {
	isDue := func(l demo.Line) bool { return hasFinding(l, "PICTURES_DUE") }
	if due := find(demoReport(t).Recommendations, arcTrainee, isDue); len(due) > 0 {
		t.Errorf("pictures are asked for on %s", due[0].ReviewDate)
	}
	if len(find(demoReport(t).Recommendations, "t-pebble", isDue)) == 0 {
		t.Error("nobody is asked for pictures who took none")
	}
}

// Each review was decided, so that none is overdue at the end of a log.
func TestDemoLeavesNoReviewOpen(t *testing.T) {
	reviews := 0
	for _, s := range demoReport(t).Summaries {
		for _, d := range s.Due {
			if d.Kind != "TIMELINE_EVENT_KIND_REVIEW" {
				continue
			}
			reviews++
			if d.Date <= s.AsOfDate {
				t.Errorf("%s: a review of %s is open on %s", s.Trainee, d.Date, s.AsOfDate)
			}
		}
	}
	if reviews < 3 {
		t.Errorf("%d plans have a next review", reviews)
	}
}

// After the goal the trend holds, though the water comes back.
func TestDemoArcHoldsItsWeight(t *testing.T) {
	lines := arcLines(t)
	from := slices.IndexFunc(lines, func(l demo.Line) bool { return l.Action == "ACTION_RETURN_TO_MAINTENANCE" })
	if from < 0 || *lines[from].TrendWeightKg > arcGoalKg {
		t.Fatalf("the goal is not reached, %d", from)
	}
	for _, l := range lines[from:] {
		if d := *l.TrendWeightKg - *lines[from].TrendWeightKg; math.Abs(d) > arcWithinKg {
			t.Errorf("the trend moves by %.2f kg to %s", d, l.ReviewDate)
		}
	}
}

// Refeeds that the plan asks for are in the log as such: marked, and eaten.
func TestDemoRefeedsAreTaken(t *testing.T) {
	asked, eaten := map[string]float64{}, map[string]float64{}
	for day, e := range loggedBy(t, arcTrainee) {
		if m := e.GetMark(); m.GetTargetKcal() > 0 {
			asked[day] = m.GetTargetKcal()
		}
		if e.GetIntake() != nil {
			eaten[day] = e.GetIntake().GetEnergy().GetValue()
		}
	}
	logged := 0
	for day, kcal := range asked {
		got, ok := eaten[day]
		if !ok {
			continue // not logged that day
		}
		logged++
		if math.Abs(got-kcal) > 0.1*kcal {
			t.Errorf("a refeed of %.0f kcal on %s, %.0f eaten", kcal, day, got)
		}
	}
	if len(asked) < 4 || logged < 4 {
		t.Errorf("%d refeeds, %d with a log", len(asked), logged)
	}
}
