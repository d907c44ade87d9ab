package phase

import (
	"math"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.com/steelyard/engine"
	files "example.com/steelyard/testdata/scenarios"
)

// The reader of the scenarios is tested here, since ./... leaves out what lies
// under testdata.

const goodFile = `
who: an invented tester
why: to try the notation
person: {sex: female, born: 1990-02-03, height_cm: 170, activity: active, conditions: [kidney-disease]}
plan: {start: 2025-03-03, method: practice-table, goal_weight_kg: 60.5, allow_refeeds: false}
decisions:
  - 2025-03-03 keep-logging 2000
  - 2025-03-05 change-refeeds 1900 activity 125 refeed 14 2450
log:
  - from: 2025-03-03
    days: 4
    weigh_lb: 150 . 149.5x2
    intake_kcal: 2000p110 ~900 . 2100
    lifts: {squat: ". 2*5@60r2 . 5@135lb"}
  - from: 2025-03-07
    days: 1
    intake_kj: 8368
    steps: 9000
marks: {2025-03-04: "refeed 2500, period-start"}
check_ins: {2025-03-05: "hunger 2, sleep 4, slog no"}
body_fat: {2025-03-05: 27.5 calipers}
tapes: {2025-03-06: "waist 74.5, neck 33"}
photos: [2025-03-03]
edits:
  - why: a slip
    remove: {marks: 2025-03-04, intakes: 2025-03-03..2025-03-05}
    person: {height_cm: 171}
    plan: {goal_weight_kg: 62}
    log: [{from: 2025-03-03, days: 1, weigh_lb: 151}]
checks:
  - {day: 2025-03-05, stage: maintenance-test, action: hold, rule: hold, numbers: {a: 0.6 ± 0.1, b: 1..2}}
  - {day: 2025-03-06, after_edits: 1, without: {log: all}, stage: maintenance-test, action: hold, rule: hold, unmoved: hold}
`

func TestNotation(t *testing.T) {
	s, err := files.Parse("good", goodFile)
	if err != nil {
		t.Fatal(err)
	}
	monday, _ := engine.ParseDay("2025-03-03")
	lb := func(v float64) engine.Mass { return engine.Mass{Value: v, Unit: engine.Pound} }
	squat := engine.LiftSet{Lift: "squat", Load: engine.Kg(60), Reps: 5, RepsInReserve: engine.Some(2)}
	want := []engine.Entry{
		{Day: monday, Key: "1", Fact: engine.WeighIn{Weight: lb(150)}},
		{Day: monday, Key: "1", Fact: engine.Intake{Energy: engine.Kcal(2000), ProteinG: engine.Some(110)}},
		{Day: monday, Key: "1", Fact: engine.PhotoSet{Reference: "front-and-side"}},
		{Day: monday + 1, Key: "1", Fact: engine.Intake{Energy: engine.Kcal(900), IsPartial: true}},
		{Day: monday + 1, Key: "squat-1", Fact: squat},
		{Day: monday + 1, Key: "squat-2", Fact: squat},
		{Day: monday + 1, Key: "period-start", Fact: engine.Mark{Of: engine.MarkPeriodStart}},
		{Day: monday + 1, Key: "refeed", Fact: engine.Mark{Of: engine.MarkRefeed, TargetKcal: engine.Some(2500)}},
		{Day: monday + 2, Key: "1", Fact: engine.WeighIn{Weight: lb(149.5)}},
		{Day: monday + 2, Key: "1", Fact: engine.BodyFat{Pct: 27.5, Method: engine.BodyFatCalipers}},
		{Day: monday + 2, Key: "1", Fact: engine.CheckIn{HungerEase: 2, Sleep: 4, WasSlog: engine.No}},
		{Day: monday + 3, Key: "1", Fact: engine.WeighIn{Weight: lb(149.5)}},
		{Day: monday + 3, Key: "1", Fact: engine.Intake{Energy: engine.Kcal(2100)}},
		{Day: monday + 3, Key: "squat-1", Fact: engine.LiftSet{Lift: "squat", Load: lb(135), Reps: 5}},
		{Day: monday + 3, Key: "1", Fact: engine.Tape{WaistCm: engine.Some(74.5), NeckCm: engine.Some(33)}},
		{Day: monday + 4, Key: "1", Fact: engine.Intake{Energy: engine.Energy{Value: 8368, Unit: engine.Kilojoule}}},
		{Day: monday + 4, Key: "1", Fact: engine.Activity{Steps: engine.Some(9000)}},
	}
	if diff := cmp.Diff(want, s.Entries); diff != "" {
		t.Error(diff)
	}
	born, _ := engine.ParseDay("1990-02-03")
	profile := engine.Profile{
		Sex: engine.Female, BirthDate: engine.SomeDay(born), HeightCm: engine.Some(170), Activity: engine.Active, Conditions: engine.KidneyDisease,
	}
	plan := engine.DefaultPlan(monday)
	plan.Method, plan.GoalWeightKg, plan.AllowRefeeds = engine.PracticeTable, engine.Some(60.5), false
	plan.Decisions = []engine.Decision{
		{From: monday, Action: engine.KeepLogging, By: "coach", Target: engine.Target{IntakeKcal: 2000}},
		{From: monday + 2, Action: engine.ChangeRefeeds, By: "coach",
			Target: engine.Target{IntakeKcal: 1900, ActivityKcal: 125, Refeed: engine.Refeed{EveryDays: 14, IntakeKcal: 2450}}},
	}
	if diff := cmp.Diff(profile, s.Profile) + cmp.Diff(plan, s.Plan); diff != "" {
		t.Error(diff)
	}

	before, err := s.At(s.Checks[0])
	if err != nil {
		t.Fatal(err)
	}
	if n := len(before.Plan.Decisions); n != 1 || len(before.Entries) != len(want) {
		t.Errorf("a check sees %d decisions, of which that of its own day is one too many, and %d entries", n, len(before.Entries))
	}
	if diff := cmp.Diff([]files.Number{{Name: "a", Low: 0.5, High: 0.7}, {Name: "b", Low: 1, High: 2}}, s.Checks[0].Numbers); diff != "" {
		t.Error(diff)
	}
	after, err := s.After(1)
	if err != nil {
		t.Fatal(err)
	}
	if len(after.Entries) != len(want)-4 || after.Entries[0].Fact != (engine.WeighIn{Weight: lb(151)}) ||
		after.Profile.HeightCm.V != 171 || after.Plan.GoalWeightKg.V != 62 || after.Profile.Sex != engine.Female {
		t.Errorf("after the edit: %+v", after)
	}
	if again, _ := s.After(0); len(again.Entries) != len(want) || again.Entries[0].Fact != want[0].Fact {
		t.Error("an edit changed the scenario itself")
	}
	if empty, _ := s.At(s.Checks[1]); len(empty.Entries) != 0 || len(empty.Plan.Decisions) != 2 {
		t.Errorf("without the log: %+v", empty)
	}
}

// Every one of these is refused, with the file and the key in the error.
func TestNotationIsStrict(t *testing.T) {
	for _, c := range []struct{ old, bad, key string }{
		{"who: an", "whom: an", "whom"},
		{"why: to try the notation", "", "why"},
		{"activity: active", "activity: lively", "person.activity"},
		{"1990-02-03", "1990-02-30", "person.born"},
		{"[kidney-disease]", "[flu]", "person.conditions"},
		{"start: 2025-03-03, ", "", "plan.start"},
		{"method: practice-table", "method: guesswork", "plan.method"},
		{"goal_weight_kg: 60.5", "goal_wait_kg: 60.5", "goal_wait_kg"},
		{"change-refeeds 1900", "change-refeed 1900", "decisions[1]"},
		{"2025-03-05 change", "2025-03-02 change", "decisions[1]"},
		{"activity 125 refeed", "walking 125 refeed", "decisions[1]"},
		{"150 . 149.5x2", "150 . 149.5", "weigh_lb"},
		{"150 . 149.5x2", "150 . 149.5x3", "weigh_lb"},
		{"150 . 149.5x2", "150 . 149.5x1 149.5", "weigh_lb"},
		{"150 . 149.5x2", "150 . -149.5x2", "weigh_lb on 2025-03-05"},
		{"150 . 149.5x2", "150 . NaNx2", "weigh_lb on 2025-03-05"},
		{"2000p110 ~900", "2000g110 ~900", "intake_kcal on 2025-03-03"},
		{"2*5@60r2", "2x5@60r2", "lifts.squat"},
		{"days: 4", "days: 0", "log[0].days"},
		{"from: 2025-03-07", "from: 2025-03-06", "intake on 2025-03-06 is logged twice"},
		{"    steps: 9000", "    stairs: 9000", "stairs"},
		{`"refeed 2500, period-start"`, `"refeed 2500, party"`, "marks.2025-03-04"},
		{`"refeed 2500, period-start"`, `"refeed, period-start 5"`, "marks.2025-03-04"},
		{"hunger 2", "hunger 6", "check_ins.2025-03-05"},
		{"slog no", "slog perhaps", "check_ins.2025-03-05"},
		{"27.5 calipers", "27.5 mirror", "body_fat.2025-03-05"},
		{"neck 33", "knee 33", "tapes.2025-03-06"},
		{"photos: [2025-03-03]", "photos: [yesterday]", "photos[0]"},
		{"marks: 2025-03-04,", "marks: 2025-03-04..2025-03-01,", "edits[0]: remove.marks"},
		{"    person: {height_cm: 171}", "    decisions: [2025-03-09 hold 2000]", "edits[0]: decisions"},
		{"edits:\n  - why: a slip", "edits:\n  - why:", "edits[0]: why"},
		{"day: 2025-03-05, stage: maintenance-test", "day: 2025-03-05, stage: holidays", "checks[0]: stage"},
		{"action: hold, rule: hold, numbers", "action: dither, rule: hold, numbers", "checks[0]: action"},
		{"action: hold, rule: hold, numbers", "action: hold, numbers", "checks[0]: rule"},
		{"0.6 ± 0.1", "about 0.6", "checks[0]: numbers.a"},
		{"1..2", "2..1", "checks[0]: numbers.b"},
		{"after_edits: 1", "after_edits: 2", "checks[1]: after_edits"},
		{"without: {log: all}, ", "", "checks[1]: without"},
		{"without: {log: all}", "without: {intakes: all}", "checks[1]: unmoved"},
		{"rule: hold, unmoved: hold", "rule: hold, silenced: hold", "checks[1]: silenced"},
		{"day: 2025-03-06, after", "day: 2025-03-03, after", "checks[1]: day"},
	} {
		text := strings.Replace(goodFile, c.old, c.bad, 1)
		if text == goodFile {
			t.Fatalf("%q is not in the good file", c.old)
		}
		switch _, err := files.Parse("bad", text); {
		case err == nil:
			t.Errorf("%q instead of %q is taken", c.bad, c.old)
		case !strings.Contains(err.Error(), "scenario bad") || !strings.Contains(err.Error(), c.key):
			t.Errorf("%q instead of %q: %v; want the file and %q", c.bad, c.old, err, c.key)
		}
	}
}

// Every way in which an answer can differ from a check is told, and nothing else.
func TestCompare(t *testing.T) {
	check := files.Check{
		Stage: "weekly-reviews", Action: "hold", Codes: []string{"ON_TRACK"}, Never: []string{"TOO_SLOW"},
		Numbers: []files.Number{{Name: "rate", Low: 0.5, High: 1}}, Absent: []string{"proposed"},
	}
	good := func() files.Answer {
		return files.Answer{Stage: "weekly-reviews", Action: "hold", Codes: []string{"LOG_GAP", "ON_TRACK"}, Cautions: 2, Headline: "Hold.", Numbers: map[string]float64{"rate": 0.5}}
	}
	if wrong := check.Compare(good()); wrong != nil {
		t.Errorf("%q", wrong)
	}
	for _, c := range []struct {
		change func(*files.Answer)
		want   string
	}{
		{func(a *files.Answer) { a.Stage = "paused" }, `stage "paused"`},
		{func(a *files.Answer) { a.Action = "ease" }, `action "ease"`},
		{func(a *files.Answer) { a.Codes = a.Codes[:1] }, "no ON_TRACK"},
		{func(a *files.Answer) { a.Codes = append(a.Codes, "TOO_SLOW") }, "TOO_SLOW came up"},
		{func(a *files.Answer) { a.Numbers["rate"] = 0.499 }, "rate is 0.499"},
		{func(a *files.Answer) { a.Numbers["rate"] = 1.001 }, "rate is 1.001"},
		{func(a *files.Answer) { a.Numbers["rate"] = math.NaN() }, "rate is NaN"},
		{func(a *files.Answer) { delete(a.Numbers, "rate") }, "rate is not known"},
		{func(a *files.Answer) { a.Numbers["proposed"] = 0 }, "proposed is 0"},
		{func(a *files.Answer) { a.Cautions = 0 }, "no caution"},
		{func(a *files.Answer) { a.Headline = "" }, "no headline"},
	} {
		a := good()
		c.change(&a)
		if wrong := check.Compare(a); len(wrong) != 2 || !strings.HasPrefix(wrong[0], c.want) {
			t.Errorf("%q, want %q and what came", wrong, c.want)
		}
	}
}

// The examples of the README are read as one file.
func TestReadmeExamples(t *testing.T) {
	text, err := os.ReadFile("../../testdata/scenarios/README.md")
	if err != nil {
		t.Fatal(err)
	}
	var example string
	blocks := strings.Split(string(text), "```")
	for i := 1; i < len(blocks); i += 2 {
		yaml, ok := strings.CutPrefix(blocks[i], "yaml\n")
		if ok {
			example += yaml
		}
	}
	s, err := files.Parse("README", example)
	if err != nil || len(s.Checks) != 2 || len(s.Entries) < 20 {
		t.Errorf("%d entries, %d checks, %v", len(s.Entries), len(s.Checks), err)
	}
}

// A rewritten file keeps its head, and its log is read as it was written.
func TestRewrite(t *testing.T) {
	const head = "who: an invented tester\nwhy: to try writing\nperson: {sex: male}\nplan: {start: 2025-03-03}\n" +
		"checks: [{day: 2025-03-04, stage: maintenance-test, action: hold, rule: hold}]\n" +
		"made: {seed: 1, days: 9, start_kg: 80, maintenance_kcal: 2500, noise_kg: 0.3, spread: 0.1, usual_kcal: 2500, lifts: {squat: 100}, " +
		"cycle: {first: 2025-03-05, every: 28, kg: 1}, turns: [{from: 2025-03-06, weigh_every: 0}]}\n"
	s, err := files.Parse("head", head)
	if err != nil {
		t.Fatal(err)
	}
	decided := engine.Decision{From: s.Plan.Start + 1, Action: engine.ChangeRefeeds, By: "coach",
		Target: engine.Target{IntakeKcal: 2012.5, ActivityKcal: 100, Refeed: engine.Refeed{EveryDays: 3, IntakeKcal: 2600}}}
	log, decisions := s.Made.Live(s.Plan, func(today engine.Day, _ engine.Plan, _ []engine.Entry) []engine.Decision {
		return decidedOn([]engine.Decision{decided}, today)
	})
	text := files.Rewrite(head, log, decisions)
	again, err := files.Parse("again", text)
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	if diff := cmp.Diff(log, again.Entries) + cmp.Diff(decisions, again.Plan.Decisions); diff != "" {
		t.Error(diff)
	}
	if files.Rewrite(text, log, decisions) != text || !strings.HasPrefix(text, head) {
		t.Errorf("written again it differs:\n%s", text)
	}
	kinds := map[engine.Kind]int{}
	for _, e := range log {
		kinds[e.Fact.Kind()]++
	}
	if kinds[engine.KindWeighIn] != 3 || kinds[engine.KindIntake] != 9 || kinds[engine.KindLiftSet] != 9 || kinds[engine.KindMark] != 4 {
		t.Errorf("logged by kind: %v", kinds)
	}
}
