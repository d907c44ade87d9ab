package convert_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/testing/protocmp"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/convert"
)

// TestForecast_EveryNumberInItsPlace compares with a message written by hand.
func TestForecast_EveryNumberInItsPlace(t *testing.T) {
	o := phase.Outlooks{
		AsOf: mustDay(2026, 3, 1),
		Goal: phase.Goal{
			Kind: phase.GoalBodyFat, WeightKg: engine.Some(78.1), WeightSDKg: engine.Some(1.2), BodyFatPct: engine.Some(21.3), BodyFatSEPct: engine.Some(3.4),
			Method: engine.BodyFatDXA, Day: engine.SomeDay(mustDay(2026, 2, 20)), Sentence: "About 78 kg.",
		},
		Outlooks: []phase.Outlook{
			{
				Pace: phase.Gentle, PacePctPerWeek: 0.5,
				Earliest: engine.SomeDay(mustDay(2026, 5, 1)), Median: engine.SomeDay(mustDay(2026, 6, 2)), Latest: engine.SomeDay(mustDay(2026, 8, 3)),
				TargetNow:    engine.Target{IntakeKcal: 2301, ActivityKcal: 102},
				TargetAtGoal: engine.Target{IntakeKcal: 2103, ActivityKcal: 204}, FloorDay: engine.SomeDay(mustDay(2026, 7, 4)), LeanSharePct: engine.Some(24.5),
			},
			{Pace: phase.Brisk, PacePctPerWeek: 1},
		},
		WhyNot:   "Not both.",
		Cautions: []phase.Caution{{Code: phase.CodeNotMedicalAdvice, Sentence: "Not medical advice."}},
		Findings: []phase.Finding{{
			Code: phase.CodePaceCapped, Severity: phase.Info, Day: engine.SomeDay(mustDay(2026, 2, 28)), Sentence: "Capped.",
			Numbers: []phase.Number{{Name: "pace_pct_per_week", Value: 0.9, Unit: "%/week"}},
		}},
	}
	want := &pb.ForecastResponse{
		AsOfDate: &date.Date{Year: 2026, Month: 3, Day: 1},
		Goal: &pb.GoalEstimate{
			WeightKg: ptr(78.1), WeightSdKg: ptr(1.2), BodyFatPct: ptr(21.3), BodyFatSePct: ptr(3.4), MeasuredDate: &date.Date{Year: 2026, Month: 2, Day: 20}, Sentence: "About 78 kg.",
		},
		Outlooks: []*pb.Outlook{
			{
				Pace: pb.ForecastPace_FORECAST_PACE_GENTLE, PacePctPerWeek: 0.5,
				EarliestDate: &date.Date{Year: 2026, Month: 5, Day: 1}, MedianDate: &date.Date{Year: 2026, Month: 6, Day: 2}, LatestDate: &date.Date{Year: 2026, Month: 8, Day: 3},
				TargetNow:    &pb.Target{IntakeKcal: 2301, ActivityKcal: 102, WeekdayIntakeKcal: ptr(2261.), WeekendIntakeKcal: ptr(2401.)},
				TargetAtGoal: &pb.Target{IntakeKcal: 2103, ActivityKcal: 204, WeekdayIntakeKcal: ptr(2063.), WeekendIntakeKcal: ptr(2203.)},
				FloorDate:    &date.Date{Year: 2026, Month: 7, Day: 4}, LeanSharePct: ptr(24.5),
			},
			{
				Pace: pb.ForecastPace_FORECAST_PACE_BRISK, PacePctPerWeek: 1,
				TargetNow: &pb.Target{WeekdayIntakeKcal: ptr(-40.), WeekendIntakeKcal: ptr(100.)}, TargetAtGoal: &pb.Target{WeekdayIntakeKcal: ptr(-40.), WeekendIntakeKcal: ptr(100.)},
			},
		},
		WhyAbsent: "Not both.",
		Cautions:  []*pb.Caution{{Code: "NOT_MEDICAL_ADVICE", Sentence: "Not medical advice."}},
		Findings: []*pb.Finding{{
			Code: "PACE_CAPPED", Severity: pb.Severity_SEVERITY_INFO, Date: &date.Date{Year: 2026, Month: 2, Day: 28}, Sentence: "Capped.",
			Numbers: []*pb.NamedNumber{{Name: "pace_pct_per_week", Value: 0.9, Unit: "%/week"}},
		}},
	}
	if diff := cmp.Diff(want, convert.ForecastToProto(o, 100), protocmp.Transform()); diff != "" {
		t.Error(diff)
	}
	for _, x := range convert.ForecastToProto(o, 0).GetOutlooks() {
		if x.TargetNow.WeekdayIntakeKcal != nil || x.TargetAtGoal.WeekendIntakeKcal != nil {
			t.Errorf("every day is alike, but %v", x)
		}
	}
}

// TestForecast_UnknownStaysAbsent: what the engine does not know is not there,
// and a goal weight rests on no measurement of fat.
func TestForecast_UnknownStaysAbsent(t *testing.T) {
	unknown := engine.Opt{V: math.NaN()}
	if got := convert.ForecastToProto(phase.Outlooks{Goal: phase.Goal{Sentence: "No goal."}}, 0); got.Goal != nil || got.Outlooks != nil {
		t.Errorf("without a goal: %v", got)
	}
	got := convert.ForecastToProto(phase.Outlooks{
		Goal:     phase.Goal{Kind: phase.GoalBodyFat, WeightKg: unknown, WeightSDKg: unknown, BodyFatPct: unknown, BodyFatSEPct: unknown, Day: engine.OptDay{Day: 3}},
		Outlooks: []phase.Outlook{{LeanSharePct: unknown, Earliest: engine.OptDay{Day: 3}}},
	}, 0)
	g, o := got.GetGoal(), got.GetOutlooks()[0]
	if g.WeightKg != nil || g.WeightSdKg != nil || g.BodyFatPct != nil || g.BodyFatSePct != nil || g.MeasuredDate != nil {
		t.Errorf("goal %v", g)
	}
	if o.LeanSharePct != nil || o.EarliestDate != nil || o.MedianDate != nil || o.LatestDate != nil || o.FloorDate != nil {
		t.Errorf("outlook %v", o)
	}
	byWeight := convert.ForecastToProto(phase.Outlooks{Goal: phase.Goal{
		Kind: phase.GoalWeight, WeightKg: engine.Some(80), WeightSDKg: engine.Some(0), BodyFatPct: engine.Some(20), BodyFatSEPct: engine.Some(3), Day: engine.SomeDay(3),
	}}, 0).GetGoal()
	if byWeight.GetWeightKg() != 80 || byWeight.WeightSdKg == nil || byWeight.BodyFatPct != nil || byWeight.BodyFatSePct != nil || byWeight.MeasuredDate != nil {
		t.Errorf("a goal weight: %v", byWeight)
	}
}
