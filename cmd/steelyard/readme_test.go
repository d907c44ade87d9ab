package main

import (
	"encoding/json"
	"fmt"
	"os"
	"regexp"
	"slices"
	"testing"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/cmd/steelyard/internal/demo"
)

// exampleAnswer is an answer as README shortens it.
type exampleAnswer struct {
	Plan     string `json:"plan"`
	AsOfDate struct{ Year, Month, Day int }
	Stage    string                                      `json:"stage"`
	Action   string                                      `json:"action"`
	Headline string                                      `json:"headline"`
	Target   *struct{ IntakeKcal, ActivityKcal float64 } `json:"proposedTarget"`
	Findings []struct{ Code string }                     `json:"findings"`
}

// README shows one answer of each action. They are the demo's, word for word.
func TestReadmeShowsEachAction(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	shown := map[string]bool{}
	for _, m := range regexp.MustCompile("(?s)\\*\\*`(ACTION_[A-Z_]+)`\\*\\*.*?```json\n(.*?)```").FindAllSubmatch(text, -1) {
		var a exampleAnswer
		if err := json.Unmarshal(m[2], &a); err != nil {
			t.Errorf("%s: %v", m[1], err)
			continue
		}
		if a.Action != string(m[1]) {
			t.Errorf("under %s there is a %s", m[1], a.Action)
		}
		shown[a.Action] = true
		checkExample(t, a)
	}
	for n, action := range pb.Action_name {
		if n != 0 && !shown[action] {
			t.Errorf("README has no example of %s", action)
		}
	}
}

func checkExample(t *testing.T, a exampleAnswer) {
	t.Helper()
	date := fmt.Sprintf("%04d-%02d-%02d", a.AsOfDate.Year, a.AsOfDate.Month, a.AsOfDate.Day)
	var trainee, plan string
	if m := regexp.MustCompile("^trainees/(.+)/plans/(.+)$").FindStringSubmatch(a.Plan); m != nil {
		trainee, plan = m[1], m[2]
	}
	i := slices.IndexFunc(demoScenarios(t), func(s demo.Scenario) bool { return s.TraineeID == trainee && s.PlanID == plan })
	lines := find(demoReport(t).Recommendations, trainee, func(l demo.Line) bool { return l.ReviewDate == date })
	if i < 0 || len(lines) != 1 {
		t.Errorf("%s: the demo has no %s on %s", a.Action, a.Plan, date)
		return
	}
	l := lines[0]
	if l.Stage != a.Stage || l.Action != a.Action || l.Headline != a.Headline {
		t.Errorf("%s: the demo has %s, %s: %s", a.Action, l.Stage, l.Action, l.Headline)
	}
	if (l.ProposedTarget == nil) != (a.Target == nil) {
		t.Errorf("%s: target %v, the demo's is %v", a.Action, a.Target, l.ProposedTarget)
	} else if a.Target != nil && (l.ProposedTarget.IntakeKcal != a.Target.IntakeKcal || l.ProposedTarget.ActivityKcal != a.Target.ActivityKcal) {
		t.Errorf("%s: target %v, the demo's is %v", a.Action, *a.Target, *l.ProposedTarget)
	}
	if len(a.Findings) != len(l.Findings) {
		t.Errorf("%s: findings %v, the demo's are %v", a.Action, a.Findings, l.Findings)
		return
	}
	for i, f := range a.Findings {
		if f.Code != l.Findings[i].Code {
			t.Errorf("%s: finding %s, the demo's is %s", a.Action, f.Code, l.Findings[i].Code)
		}
	}
}
