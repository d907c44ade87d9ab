package convert_test

import (
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// or returns the number, or what the contract says stands for none.
func or[T any](p *T, absent T) *T {
	if p == nil {
		return &absent
	}
	return p
}

func TestPlan_RoundTrip(t *testing.T) {
	fixSeed(t)
	rapid.Check(t, func(t *rapid.T) {
		given := &pb.Plan{
			Name: texts.Draw(t, "ignored name"), StartDate: dates.Draw(t, "start"), State: enums[pb.PlanState](pb.PlanState_name).Draw(t, "state"),
			GoalWeightKg: optional(30, 300).Draw(t, "goal"), GoalBodyFatPct: optional(3, 60).Draw(t, "fat goal"),
			Method: enums[pb.ReviewMethod](pb.ReviewMethod_name).Draw(t, "method"), SkipMaintenanceTest: rapid.Bool().Draw(t, "skip"),
			BandLowPctPerWeek: optional(0.1, 1).Draw(t, "low"), BandHighPctPerWeek: optional(0.2, 1).Draw(t, "high"), PacePctPerWeek: optional(0.1, 1).Draw(t, "pace"),
			AllowFoodLever: optionalBool.Draw(t, "food"), AllowActivityLever: optionalBool.Draw(t, "activity"),
			BaseActivityKcal: optional(0, 400).Draw(t, "base"), ActivityCapKcal: optional(0, 1000).Draw(t, "cap"), IntakeFloorKcal: optional(800, 5000).Draw(t, "floor"),
			AllowRefeeds: optionalBool.Draw(t, "refeeds"), WeekendExtraKcal: optional(0, 1000).Draw(t, "weekend"),
			CurrentTarget: &pb.Target{IntakeKcal: 1}, Revision: texts.Draw(t, "ignored revision"), CreateTime: timestamppb.New(now),
		}
		plan, err := convert.PlanFromProto(given, "cut")
		if err != nil {
			t.Fatalf("%v is refused: %v", given, err)
		}
		stored := store.Plan{Plan: plan, Created: now.Add(-time.Hour), Updated: now}

		// What is left out takes the default that the contract names beside the field.
		want := proto.Clone(given).(*pb.Plan)
		want.Name, want.Revision, want.CurrentTarget = "trainees/t1/plans/cut", convert.Revision(head), nil
		want.CreateTime, want.UpdateTime = timestamppb.New(now.Add(-time.Hour)), timestamppb.New(now)
		want.BandLowPctPerWeek, want.BandHighPctPerWeek, want.PacePctPerWeek = or(given.BandLowPctPerWeek, 0.5), or(given.BandHighPctPerWeek, 1.0), or(given.PacePctPerWeek, 0.8)
		want.AllowFoodLever, want.AllowActivityLever = or(given.AllowFoodLever, true), or(given.AllowActivityLever, true)
		want.BaseActivityKcal, want.ActivityCapKcal = or(given.BaseActivityKcal, 125.0), or(given.ActivityCapKcal, 400.0)
		want.AllowRefeeds, want.WeekendExtraKcal = or(given.AllowRefeeds, true), or(given.WeekendExtraKcal, 0.0)
		if want.State == pb.PlanState_PLAN_STATE_UNSPECIFIED {
			want.State = pb.PlanState_PLAN_STATE_OPEN
		}
		if want.Method == pb.ReviewMethod_REVIEW_METHOD_UNSPECIFIED {
			want.Method = pb.ReviewMethod_REVIEW_METHOD_POSTERIOR
		}
		got := convert.PlanToProto("t1", stored, head, lastDay)
		if !proto.Equal(got, want) {
			t.Fatalf("given %v\ngot   %v\nwant  %v", given, got, want)
		}
		again, err := convert.PlanFromProto(got, "cut")
		if err != nil || !proto.Equal(convert.PlanToProto("t1", store.Plan{Plan: again, Created: stored.Created, Updated: stored.Updated}, head, lastDay), want) {
			t.Fatalf("what was answered reads as %+v, %v, want %+v", again, err, plan)
		}
	})
}

// TestPlan_DefaultsOfTheContract: the defaults that the contract's comments name
// are those of the engine.
func TestPlan_DefaultsOfTheContract(t *testing.T) {
	plan, err := convert.PlanFromProto(&pb.Plan{StartDate: &date.Date{Year: 2026, Month: 3, Day: 1}}, "cut")
	if err != nil {
		t.Fatal(err)
	}
	want := engine.DefaultPlan(mustDay(2026, 3, 1))
	if plan.ID != "cut" || plan.State != engine.PlanOpen || plan.Method != engine.Posterior || plan.Start != want.Start ||
		plan.BandLowPctPerWeek != want.BandLowPctPerWeek || plan.BandHighPctPerWeek != want.BandHighPctPerWeek || plan.PacePctPerWeek != want.PacePctPerWeek ||
		plan.FoodLever != want.FoodLever || plan.ActivityLever != want.ActivityLever || plan.BaseActivityKcal != want.BaseActivityKcal || plan.ActivityCapKcal != want.ActivityCapKcal ||
		!plan.AllowRefeeds || plan.WeekendExtraKcal != 0 || plan.IntakeFloorKcal.OK || plan.GoalWeightKg.OK || plan.GoalBodyFatPct.OK {
		t.Errorf("%+v, want %+v", plan, want)
	}
}

// TestPlan_DoesNotShareMemory: an answer must not change with what is stored.
func TestPlan_DoesNotShareMemory(t *testing.T) {
	stored := store.Plan{Plan: engine.DefaultPlan(0)}
	got := convert.PlanToProto("t1", stored, head, 0)
	*got.PacePctPerWeek = 9
	if stored.PacePctPerWeek != 0.8 {
		t.Errorf("the stored pace became %v", stored.PacePctPerWeek)
	}
}

func TestPlan_CurrentTargetIsThatOfToday(t *testing.T) {
	plan := engine.DefaultPlan(100)
	plan.Decisions = []engine.Decision{
		{From: 110, Target: engine.Target{IntakeKcal: 2000}}, {From: 117, Target: engine.Target{IntakeKcal: 1900, ActivityKcal: 50}},
	}
	for today, want := range map[engine.Day]*pb.Target{
		109: nil, 110: {IntakeKcal: 2000}, 116: {IntakeKcal: 2000}, 117: {IntakeKcal: 1900, ActivityKcal: 50}, 500: {IntakeKcal: 1900, ActivityKcal: 50},
	} {
		if got := convert.PlanToProto("t1", store.Plan{Plan: plan}, head, today).GetCurrentTarget(); !proto.Equal(got, want) {
			t.Errorf("day %d: %v, want %v", today, got, want)
		}
	}
}

// TestPlan_WeekendGetsMore: 350 kcal more on two days is 140 less on five, and
// the week is what it was.
func TestPlan_WeekendGetsMore(t *testing.T) {
	plan := engine.DefaultPlan(100)
	plan.WeekendExtraKcal = 350
	plan.Decisions = []engine.Decision{{From: 110, Target: engine.Target{IntakeKcal: 2000, ActivityKcal: 40}}}
	want := &pb.Target{IntakeKcal: 2000, ActivityKcal: 40, WeekdayIntakeKcal: ptr(1860.), WeekendIntakeKcal: ptr(2350.)}
	if got := convert.PlanToProto("t1", store.Plan{Plan: plan}, head, 120).GetCurrentTarget(); !proto.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	if week := 5**want.WeekdayIntakeKcal + 2**want.WeekendIntakeKcal; week != 7*want.IntakeKcal {
		t.Errorf("the week is %v kcal", week)
	}
}

func TestPlan_NeedsAStart(t *testing.T) {
	for _, d := range []*date.Date{nil, {}, {Year: 2025, Month: 2, Day: 29}, {Year: 1969, Month: 12, Day: 31}} {
		if _, err := convert.PlanFromProto(&pb.Plan{StartDate: d}, "cut"); fieldOf(err) != "start_date" {
			t.Errorf("%v: %v", d, err)
		}
	}
}

func TestDecision_RoundTrip(t *testing.T) {
	fixSeed(t)
	rapid.Check(t, func(t *rapid.T) {
		given := &pb.Decision{
			Name: texts.Draw(t, "ignored name"), FromDate: dates.Draw(t, "from"),
			Action:    pb.Action(rapid.Int32Range(1, int32(len(pb.Action_name)-1)).Draw(t, "action")),
			Target:    targets.Draw(t, "target"),
			DecidedBy: texts.Draw(t, "by"), Note: texts.Draw(t, "note"), AnswersRecommendation: rapid.Bool().Draw(t, "answers"),
			Given: &pb.Recommendation{Headline: "ignored"}, Revision: texts.Draw(t, "ignored revision"),
		}
		d, err := convert.DecisionFromProto(given, "d1")
		if err != nil {
			t.Fatalf("%v is refused: %v", given, err)
		}
		var shown *pb.Recommendation
		if given.AnswersRecommendation {
			shown = &pb.Recommendation{Headline: "as it was given"}
		}
		want := proto.Clone(given).(*pb.Decision)
		want.Name, want.Revision, want.Given, want.CreateTime = "trainees/t1/plans/cut/decisions/d1", convert.Revision(head), shown, timestamppb.New(now)
		want.Target.WeekdayIntakeKcal, want.Target.WeekendIntakeKcal = nil, nil // what a caller puts there is passed over
		got := convert.DecisionToProto("t1", "cut", store.Decision{Decision: d, Recorded: now}, shown, head)
		if !proto.Equal(got, want) {
			t.Fatalf("given %v\ngot   %v\nwant  %v", given, got, want)
		}
		if again, err := convert.DecisionFromProto(got, "d1"); err != nil || again != d {
			t.Fatalf("what was answered reads as %+v, %v, want %+v", again, err, d)
		}
	})
	if _, err := convert.DecisionFromProto(&pb.Decision{}, "d1"); fieldOf(err) != "from_date" {
		t.Errorf("without a day: %v", err)
	}
}

// TestDecision_RefeedIsBothNumbersOrNeither: one of them alone says nothing.
func TestDecision_RefeedIsBothNumbersOrNeither(t *testing.T) {
	for field, target := range map[string]*pb.Target{
		"target.refeed_intake_kcal": {IntakeKcal: 1900, RefeedEveryDays: ptr(int32(10))},
		"target.refeed_every_days":  {IntakeKcal: 1900, RefeedIntakeKcal: ptr(2500.)},
	} {
		if _, err := convert.DecisionFromProto(&pb.Decision{FromDate: day0, Target: target}, "d1"); fieldOf(err) != field {
			t.Errorf("%v: %v, want %s", target, err, field)
		}
	}
	both := &pb.Target{IntakeKcal: 1900, RefeedEveryDays: ptr(int32(10)), RefeedIntakeKcal: ptr(2500.)}
	d, err := convert.DecisionFromProto(&pb.Decision{FromDate: day0, Target: both}, "d1")
	if want := (engine.Target{IntakeKcal: 1900, Refeed: engine.Refeed{EveryDays: 10, IntakeKcal: 2500}}); err != nil || d.Target != want {
		t.Errorf("%+v, %v, want %+v", d.Target, err, want)
	}
	if d, err := convert.DecisionFromProto(&pb.Decision{FromDate: day0}, "d1"); err != nil || d.Target != (engine.Target{}) {
		t.Errorf("without a target: %+v, %v", d.Target, err)
	}
}
