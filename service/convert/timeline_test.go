package convert_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"google.golang.org/genproto/googleapis/type/date"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/convert"
)

// TestTimeline_EveryNumberInItsPlace compares with a message written by hand.
func TestTimeline_EveryNumberInItsPlace(t *testing.T) {
	story := phase.Story{
		AsOf: mustDay(2026, 3, 1), Stage: phase.DietBreak,
		Events: []phase.Event{
			{Day: mustDay(2026, 1, 2), Kind: phase.EventPlanStart, Sentence: "The plan starts."},
			{Day: mustDay(2026, 1, 12), Kind: phase.EventDecision, Action: engine.StartDeficit, Sentence: "The cut starts."},
			{Day: mustDay(2026, 3, 9), Kind: phase.EventBreakEnd, IsDue: true, Sentence: "The break ends."},
		},
		Summary: &phase.Summary{
			Days: 59, StartWeightKg: 90.1, EndWeightKg: 86.2, LostPct: 4.3, MeanRatePctPerWeek: engine.Some(0.64), StartMaintenanceKcal: 2805, EndMaintenanceKcal: 2706,
			BreakDays: 7, Refeeds: 8, RetentionPct: engine.Some(99.1),
			Periods: []phase.Period{
				{
					Start: mustDay(2026, 1, 12), End: mustDay(2026, 2, 20), Action: engine.StartDeficit,
					Target: engine.Target{IntakeKcal: 2200, ActivityKcal: 50, Refeed: engine.Refeed{EveryDays: 14, IntakeKcal: 2750}}, LostKg: engine.Some(3.7), RatePctPerWeek: engine.Some(0.73),
				},
				{Start: mustDay(2026, 2, 21), End: mustDay(2026, 3, 1), Action: engine.TakeBreak, Target: engine.Target{IntakeKcal: 2700}, LostKg: engine.Some(-0.4)},
			},
		},
		Cautions: []phase.Caution{{Code: phase.CodeNotMedicalAdvice, Sentence: "Not medical advice."}},
	}
	want := &pb.Timeline{
		Plan: planName, AsOfDate: &date.Date{Year: 2026, Month: 3, Day: 1}, Stage: pb.Stage_STAGE_DIET_BREAK,
		Events: []*pb.TimelineEvent{
			{Date: &date.Date{Year: 2026, Month: 1, Day: 2}, Kind: pb.TimelineEventKind_TIMELINE_EVENT_KIND_PLAN_START, Sentence: "The plan starts."},
			{Date: &date.Date{Year: 2026, Month: 1, Day: 12}, Kind: pb.TimelineEventKind_TIMELINE_EVENT_KIND_DECISION, Action: pb.Action_ACTION_START_DEFICIT, Sentence: "The cut starts."},
			{Date: &date.Date{Year: 2026, Month: 3, Day: 9}, Kind: pb.TimelineEventKind_TIMELINE_EVENT_KIND_BREAK_END, IsDue: true, Sentence: "The break ends."},
		},
		Summary: &pb.PlanSummary{
			Days: 59, StartWeightKg: 90.1, EndWeightKg: 86.2, LostPct: 4.3, MeanRatePctPerWeek: ptr(0.64), StartMaintenanceKcal: 2805, EndMaintenanceKcal: 2706,
			BreakDays: 7, Refeeds: 8, StrengthRetentionPct: ptr(99.1),
			Periods: []*pb.PlanPeriod{
				{
					StartDate: &date.Date{Year: 2026, Month: 1, Day: 12}, EndDate: &date.Date{Year: 2026, Month: 2, Day: 20}, Action: pb.Action_ACTION_START_DEFICIT,
					Target: &pb.Target{IntakeKcal: 2200, ActivityKcal: 50, RefeedEveryDays: ptr(int32(14)), RefeedIntakeKcal: ptr(2750.)}, LostKg: ptr(3.7), RatePctPerWeek: ptr(0.73),
				},
				{
					StartDate: &date.Date{Year: 2026, Month: 2, Day: 21}, EndDate: &date.Date{Year: 2026, Month: 3, Day: 1}, Action: pb.Action_ACTION_TAKE_BREAK,
					Target: &pb.Target{IntakeKcal: 2700}, LostKg: ptr(-0.4),
				},
			},
		},
		Cautions: []*pb.Caution{{Code: "NOT_MEDICAL_ADVICE", Sentence: "Not medical advice."}},
	}
	if diff := cmp.Diff(want, convert.TimelineToProto(planName, story), protocmp.Transform()); diff != "" {
		t.Error(diff)
	}
}

// TestTimeline_UnknownStaysAbsent: what the engine does not know is not there.
func TestTimeline_UnknownStaysAbsent(t *testing.T) {
	unknown := engine.Opt{V: math.NaN()}
	if got := convert.TimelineToProto(planName, phase.Story{}); got.Summary != nil {
		t.Errorf("a summary of nothing: %v", got.Summary)
	}
	s := convert.TimelineToProto(planName, phase.Story{Summary: &phase.Summary{
		MeanRatePctPerWeek: unknown, RetentionPct: unknown, Periods: []phase.Period{{RatePctPerWeek: unknown}},
	}}).GetSummary()
	if s.MeanRatePctPerWeek != nil || s.StrengthRetentionPct != nil || s.Periods[0].RatePctPerWeek != nil {
		t.Errorf("an unknown number is set: %v", s)
	}
}
