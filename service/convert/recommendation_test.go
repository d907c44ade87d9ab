package convert_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/testing/protocmp"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/window"
)

const planName = "trainees/t1/plans/cut"

// full is a recommendation in which everything is known, each number its own.
func full() phase.Recommendation {
	estimate := &balance.Estimate{
		AsOf: mustDay(2026, 3, 1), TrendWeightKg: 80.1, TrendWeightSDKg: 0.2, ScaleWeightKg: 80.3, ScaleWeightSDKg: 0.4,
		RatePctPerWeek: 0.5, RateSDPctPerWeek: 0.06, MaintenanceKcal: 2700, MaintenanceSDKcal: 80, IntakeKcal: 2100,
		PBelowBand: 0.09, PAboveBand: 0.11, ReadingsUsed: 12,
		Refused: []balance.Refusal{{Day: mustDay(2026, 2, 1), WeightKg: 130, Reason: balance.FarFromExpected}},
	}
	return phase.Recommendation{
		AsOf: mustDay(2026, 3, 1), PlanDay: 13, Stage: phase.WeeklyReviews, Action: engine.LowerBalance, ReviewDue: true, NextReview: engine.SomeDay(mustDay(2026, 3, 8)),
		Headline: "Eat less.", Current: &engine.Target{IntakeKcal: 2014, ActivityKcal: 15, Refeed: engine.Refeed{EveryDays: 14, IntakeKcal: 2600}},
		Proposed:         &engine.Target{IntakeKcal: 1916, ActivityKcal: 17, Refeed: engine.Refeed{EveryDays: 7, IntakeKcal: 2601}},
		WeekendExtraKcal: 100,
		Options: []phase.LeverOption{
			{Kind: phase.LeverFood, Possible: true, Recommended: true, Change: &phase.LeverChange{
				Target: engine.Target{IntakeKcal: 1918, ActivityKcal: 19, Refeed: engine.Refeed{EveryDays: 10, IntakeKcal: 2602}}, FoodKcalPerDay: -20, FoodKcalPerWeek: -140, ActivityKcalPerDay: 21, ActivityKcalPerWeek: 147,
				StepsPerDay: engine.Some(2200), WalkMinutesPerDay: engine.Some(23.5),
			}},
			{Kind: phase.LeverActivity, WhyNot: "The cap is reached."},
		},
		Estimate: estimate, Method: engine.PracticeTable,
		Posterior: &phase.MethodAnswer{
			Method: engine.Posterior, Action: engine.Hold, RatePctPerWeek: 0.24, RateSEPctPerWeek: engine.Some(0.25), ChangeKcal: engine.Some(-26), ChangePct: engine.Some(-2.7), Sentence: "Hold.",
		},
		Practice: &phase.MethodAnswer{
			Method: engine.PracticeTable, Action: engine.LowerBalance, RatePctPerWeek: 0.28, RateSEPctPerWeek: engine.Some(0.29), ChangeKcal: engine.Some(-300), ChangePct: engine.Some(-3.1), Sentence: "Lower.",
		},
		WhyDiffer: "They look at other days.",
		Adherence: &phase.Adherence{Days: 40, LoggedDays: 41, TargetKcal: 2042, LoggedKcal: 2143, OverPct: 4.4, IsOver: true, WeekendOverKcal: engine.Some(245)},
		Strain: phase.Strain{
			CheckIns: 46, Mean: engine.Some(4.7), HungerEase: engine.Some(4.8), Energy: engine.Some(4.9), Sleep: engine.Some(3.1), TrainingDrive: engine.Some(3.2),
			WasSlog: engine.Yes, IsHigh: true, RetentionPct: engine.Some(98.3), LiftsWithTrend: 54, FallingLifts: 55, HardSetsPct: engine.Some(95.6),
		},
		Refeeds: &phase.RefeedProposal{
			Target: engine.Target{IntakeKcal: 1857, Refeed: engine.Refeed{EveryDays: 58, IntakeKcal: 2659}}, Earliest: mustDay(2026, 3, 3),
			BumpLowKg: 0.61, BumpHighKg: 1.62, ReadAgainDays: 63, MeanIntakeKcal: 1964, OrdinaryLessKcal: 165,
		},
		Return: &phase.MaintenanceReturn{
			MaintenanceKcal: 2766, LowKcal: 2667, HighKcal: 2868, Steps: []engine.Target{
				{IntakeKcal: 2469, ActivityKcal: 70, Refeed: engine.Refeed{EveryDays: 21, IntakeKcal: 2701}}, {IntakeKcal: 2771, ActivityKcal: 72, Refeed: engine.Refeed{EveryDays: 22, IntakeKcal: 2772}},
			}, RegainLowKg: 0.73, RegainHighKg: 1.74, WatchDays: 75,
		},
		RestsOn: phase.Basis{ReadingsUsed: 32, ReadingsRefused: 33, ReadingsLast7: 34, ReadingsLast14: 35, LoggedLast7: 36, LoggedLast14: 37, LoggedDays: 38, LogDays: 39},
		Findings: []phase.Finding{
			{Code: phase.CodeTooSlow, Severity: phase.Warning, Day: engine.SomeDay(mustDay(2026, 2, 27)), Sentence: "Too slow.", Numbers: []phase.Number{{Name: "rate_pct_per_week", Value: 0.4, Unit: "%/week"}}},
			{Code: phase.CodeLogGap, Severity: phase.Info, Sentence: "A gap."},
		},
		Cautions: []phase.Caution{{Code: phase.CodeNotMedicalAdvice, Sentence: "Not medical advice."}},
	}
}

// TestRecommendation_EveryNumberInItsPlace compares with a message written by hand.
func TestRecommendation_EveryNumberInItsPlace(t *testing.T) {
	r := full()
	low80, high80 := r.Estimate.Interval(0.80)
	low95, high95 := r.Estimate.Interval(0.95)
	lowShown, highShown := r.Estimate.ScaleInterval(0.80)
	want := &pb.Recommendation{
		Plan: planName, AsOfDate: &date.Date{Year: 2026, Month: 3, Day: 1}, PlanDay: 13,
		Stage: pb.Stage_STAGE_WEEKLY_REVIEWS, Action: pb.Action_ACTION_LOWER_BALANCE, IsReviewDue: true, NextReviewDate: &date.Date{Year: 2026, Month: 3, Day: 8},
		Headline:       "Eat less.",
		CurrentTarget:  &pb.Target{IntakeKcal: 2014, ActivityKcal: 15, RefeedEveryDays: ptr(int32(14)), RefeedIntakeKcal: ptr(2600.), WeekdayIntakeKcal: ptr(1974.), WeekendIntakeKcal: ptr(2114.)},
		ProposedTarget: &pb.Target{IntakeKcal: 1916, ActivityKcal: 17, RefeedEveryDays: ptr(int32(7)), RefeedIntakeKcal: ptr(2601.), WeekdayIntakeKcal: ptr(1876.), WeekendIntakeKcal: ptr(2016.)},
		Options: []*pb.LeverOption{
			{
				Lever: pb.Lever_LEVER_FOOD, IsPossible: true, IsRecommended: true,
				Target: &pb.Target{
					IntakeKcal: 1918, ActivityKcal: 19, RefeedEveryDays: ptr(int32(10)), RefeedIntakeKcal: ptr(2602.), WeekdayIntakeKcal: ptr(1878.), WeekendIntakeKcal: ptr(2018.),
				},
				IntakeChangeKcalPerDay: ptr(-20.), IntakeChangeKcalPerWeek: ptr(-140.), ActivityChangeKcalPerDay: ptr(21.), ActivityChangeKcalPerWeek: ptr(147.),
				StepsPerDay: ptr(int32(2200)), WalkMinutesPerDay: ptr(23.5),
			},
			{Lever: pb.Lever_LEVER_ACTIVITY, WhyNot: "The cap is reached."},
		},
		Estimate: &pb.EnergyEstimate{
			AsOfDate: &date.Date{Year: 2026, Month: 3, Day: 1}, TrendWeightKg: 80.1, TrendWeightSdKg: 0.2, ScaleWeightKg: 80.3, ScaleWeightSdKg: 0.4,
			RatePctPerWeek: ptr(0.5), RateSdPctPerWeek: ptr(0.06),
			Rate_80: &pb.Interval{Low: low80, High: high80}, Rate_95: &pb.Interval{Low: low95, High: high95}, ShownRate_80: &pb.Interval{Low: lowShown, High: highShown},
			MaintenanceKcal: 2700, MaintenanceSdKcal: 80, ProbabilityBelowBand: ptr(0.09), ProbabilityAboveBand: ptr(0.11), ReadingsUsed: 12,
			RefusedReadings: []*pb.RefusedReading{{Date: &date.Date{Year: 2026, Month: 2, Day: 1}, WeightKg: 130, Reason: balance.FarFromExpected.String()}},
		},
		Method: pb.ReviewMethod_REVIEW_METHOD_PRACTICE_TABLE,
		Posterior: &pb.MethodAnswer{
			Method: pb.ReviewMethod_REVIEW_METHOD_POSTERIOR, Action: pb.Action_ACTION_HOLD, RatePctPerWeek: 0.24, RateSePctPerWeek: ptr(0.25),
			ChangeKcalPerDay: ptr(-26.), ChangePct: ptr(-2.7), Sentence: "Hold.",
		},
		Practice: &pb.MethodAnswer{
			Method: pb.ReviewMethod_REVIEW_METHOD_PRACTICE_TABLE, Action: pb.Action_ACTION_LOWER_BALANCE, RatePctPerWeek: 0.28, RateSePctPerWeek: ptr(0.29),
			ChangeKcalPerDay: ptr(-300.), ChangePct: ptr(-3.1), Sentence: "Lower.",
		},
		WhyDifferent: "They look at other days.",
		Findings: []*pb.Finding{
			{
				Code: "TOO_SLOW", Severity: pb.Severity_SEVERITY_WARNING, Date: &date.Date{Year: 2026, Month: 2, Day: 27}, Sentence: "Too slow.",
				Numbers: []*pb.NamedNumber{{Name: "rate_pct_per_week", Value: 0.4, Unit: "%/week"}},
			},
			{Code: "LOG_GAP", Severity: pb.Severity_SEVERITY_INFO, Sentence: "A gap."},
		},
		Cautions: []*pb.Caution{{Code: "NOT_MEDICAL_ADVICE", Sentence: "Not medical advice."}},
		Evidence: &pb.Evidence{
			ReadingsUsed: 32, ReadingsRefused: 33, ReadingsLast_7Days: 34, ReadingsLast_14Days: 35,
			LoggedDaysLast_7Days: 36, LoggedDaysLast_14Days: 37, LoggedDays: 38, LogDays: 39,
		},
		Adherence: &pb.Adherence{Days: 40, LoggedDays: 41, TargetKcal: 2042, LoggedKcal: 2143, OverPct: 4.4, IsOver: true, WeekendOverKcal: ptr(245.)},
		Strain: &pb.Strain{
			CheckIns: 46, MeanScore: ptr(4.7), HungerEase: ptr(4.8), Energy: ptr(4.9), Sleep: ptr(3.1), TrainingDrive: ptr(3.2), WasSlog: ptr(true), IsHigh: true,
			StrengthRetentionPct: ptr(98.3), LiftsWithTrend: 54, FallingLifts: 55, HardSetsPct: ptr(95.6),
		},
		Refeeds: &pb.RefeedProposal{
			EveryDays: 58, IntakeKcal: 2659, OrdinaryIntakeKcal: 1857, MeanIntakeKcal: 1964, EarliestDate: &date.Date{Year: 2026, Month: 3, Day: 3},
			ExpectedBumpKg: &pb.Interval{Low: 0.61, High: 1.62}, ReadAgainAfterDays: 63,
		},
		MaintenanceReturn: &pb.MaintenanceReturn{
			MaintenanceKcal: 2766, Maintenance_80: &pb.Interval{Low: 2667, High: 2868}, Steps: []*pb.Target{
				{IntakeKcal: 2469, ActivityKcal: 70, RefeedEveryDays: ptr(int32(21)), RefeedIntakeKcal: ptr(2701.), WeekdayIntakeKcal: ptr(2429.), WeekendIntakeKcal: ptr(2569.)},
				{IntakeKcal: 2771, ActivityKcal: 72, RefeedEveryDays: ptr(int32(22)), RefeedIntakeKcal: ptr(2772.), WeekdayIntakeKcal: ptr(2731.), WeekendIntakeKcal: ptr(2871.)},
			},
			ExpectedRegainKg: &pb.Interval{Low: 0.73, High: 1.74}, WatchDays: 75,
		},
	}
	if diff := cmp.Diff(want, convert.RecommendationToProto(planName, r), protocmp.Transform()); diff != "" {
		t.Error(diff)
	}
}

// TestRecommendation_NoFieldIsForgotten: with everything known every field of
// the contract is set, but for the two that the caller adds.
func TestRecommendation_NoFieldIsForgotten(t *testing.T) {
	got := convert.RecommendationToProto(planName, full())
	var unset []string
	unsetFields(got.ProtoReflect(), "", &unset)
	slices.Sort(unset)
	want := []string{
		"findings[1].date", "findings[1].numbers", // a finding without
		"options[0].why_not", // it is possible
		"options[1].activity_change_kcal_per_day", "options[1].activity_change_kcal_per_week", "options[1].intake_change_kcal_per_day", "options[1].intake_change_kcal_per_week",
		"options[1].is_possible", "options[1].is_recommended", "options[1].steps_per_day", "options[1].target", "options[1].walk_minutes_per_day", // it is not
		"revision", "source", // of the read
	}
	if !slices.Equal(unset, want) {
		t.Errorf("not set: %q\nwant     %q", unset, want)
	}
}

func unsetFields(m protoreflect.Message, prefix string, out *[]string) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		name := prefix + string(f.Name())
		switch {
		case !m.Has(f):
			*out = append(*out, name)
		case f.IsList() && f.Message() != nil:
			for j := range m.Get(f).List().Len() {
				unsetFields(m.Get(f).List().Get(j).Message(), name+"["+string(rune('0'+j))+"].", out)
			}
		case f.Message() != nil:
			unsetFields(m.Get(f).Message(), name+".", out)
		}
	}
}

// TestRecommendation_UnknownStaysAbsent: what the engine does not know is not
// there, whatever lies in its memory.
func TestRecommendation_UnknownStaysAbsent(t *testing.T) {
	unknown := engine.Opt{V: math.NaN()}
	r := phase.Recommendation{
		NextReview: engine.OptDay{Day: 5},
		Options:    []phase.LeverOption{{Kind: phase.LeverFood, Change: &phase.LeverChange{StepsPerDay: unknown, WalkMinutesPerDay: unknown}}},
		Posterior:  &phase.MethodAnswer{RateSEPctPerWeek: unknown, ChangeKcal: unknown, ChangePct: unknown},
		Findings:   []phase.Finding{{Day: engine.OptDay{Day: 5}}},
		Adherence:  &phase.Adherence{WeekendOverKcal: unknown},
		Current:    &engine.Target{IntakeKcal: 2000},
	}
	known := convert.RecommendationToProto(planName, phase.Recommendation{Strain: phase.Strain{
		CheckIns: 1, Mean: unknown, HungerEase: unknown, Energy: unknown, Sleep: unknown, TrainingDrive: unknown, RetentionPct: unknown, HardSetsPct: unknown,
	}}).GetStrain()
	got := convert.RecommendationToProto(planName, r)
	for name, isSet := range map[string]bool{
		"next_review_date": got.NextReviewDate != nil, "proposed_target": got.ProposedTarget != nil,
		"estimate": got.Estimate != nil, "practice": got.Practice != nil, "posterior.rate_se": got.Posterior.RateSePctPerWeek != nil,
		"posterior.change_kcal": got.Posterior.ChangeKcalPerDay != nil, "posterior.change_pct": got.Posterior.ChangePct != nil,
		"options.steps": got.Options[0].StepsPerDay != nil, "options.minutes": got.Options[0].WalkMinutesPerDay != nil, "findings.date": got.Findings[0].Date != nil,
		"adherence.weekend": got.Adherence.WeekendOverKcal != nil, "strain": got.Strain != nil, "refeeds": got.Refeeds != nil, "maintenance_return": got.MaintenanceReturn != nil,
		"current_target.refeed_every_days": got.CurrentTarget.RefeedEveryDays != nil, "current_target.refeed_intake": got.CurrentTarget.RefeedIntakeKcal != nil,
		"current_target.weekday": got.CurrentTarget.WeekdayIntakeKcal != nil, "current_target.weekend": got.CurrentTarget.WeekendIntakeKcal != nil,
		"strain.mean": known.MeanScore != nil, "strain.hunger_ease": known.HungerEase != nil, "strain.energy": known.Energy != nil, "strain.sleep": known.Sleep != nil,
		"strain.drive": known.TrainingDrive != nil, "strain.slog": known.WasSlog != nil, "strain.retention": known.StrengthRetentionPct != nil, "strain.sets": known.HardSetsPct != nil,
	} {
		if isSet {
			t.Errorf("unknown %s is set: %v", name, got)
		}
	}
	if got.Posterior == nil || known == nil || got.Adherence == nil || got.Options[0].IntakeChangeKcalPerDay == nil {
		t.Errorf("a known zero is absent: %v", got)
	}
	for _, r := range []phase.Recommendation{r, full(), {}} {
		finite(t, convert.RecommendationToProto(planName, r).ProtoReflect(), "")
	}
	if got := convert.OptToProto(unknown); got != nil {
		t.Errorf("unknown is %v", *got)
	}
	if got := convert.OptToProto(engine.Some(0)); got == nil || *got != 0 {
		t.Errorf("a known zero is %v", got)
	}
}

// finite fails on every number that is none.
func finite(t *testing.T, m protoreflect.Message, prefix string) {
	t.Helper()
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		name := prefix + string(f.Name())
		switch {
		case f.IsList() && f.Message() != nil:
			for i := range v.List().Len() {
				finite(t, v.List().Get(i).Message(), name+".")
			}
		case f.Message() != nil:
			finite(t, v.Message(), name+".")
		case f.Kind() == protoreflect.DoubleKind && (math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0)):
			t.Errorf("%s is %v", name, v.Float())
		}
		return true
	})
}

// TestAnswers_OfTheEngine: what the engine itself gives, from nothing logged to
// a full log, converts without a number that is none, with its cautions, and
// with a stage and an action of the contract.
func TestAnswers_OfTheEngine(t *testing.T) {
	start := mustDay(2025, 11, 1)
	w := engine.Window{First: start}
	for i := range 60 {
		w.Days = append(w.Days, engine.WindowDay{WeightKg: engine.Some(90 - 0.05*float64(i)), Readings: 1, IntakeKcal: engine.Some(2400)})
	}
	profile := engine.Profile{Sex: engine.Male, BirthDate: engine.SomeDay(mustDay(1990, 5, 4)), HeightCm: engine.Some(180), Activity: engine.LowActive}
	plan := engine.DefaultPlan(start)
	cut := plan
	cut.Decisions = []engine.Decision{{ID: "d1", From: start + 10, Action: engine.StartDeficit, Target: engine.Target{IntakeKcal: 2400}}}
	over := cut
	over.GoalWeightKg, over.WeekendExtraKcal = engine.Some(80), 140
	over.Decisions = append(over.Decisions[:1:1],
		engine.Decision{ID: "d2", From: start + 20, Action: engine.ChangeRefeeds, Target: engine.Target{IntakeKcal: 2350, Refeed: engine.Refeed{EveryDays: 10, IntakeKcal: 2900}}},
		engine.Decision{ID: "d3", From: start + 30, Action: engine.TakeBreak, Target: engine.Target{IntakeKcal: 2900}},
		engine.Decision{ID: "d4", From: start + 40, Action: engine.ReturnToMaintenance, Target: engine.Target{IntakeKcal: 2900}},
		engine.Decision{ID: "d5", From: start + 50, Action: engine.Finish, Target: engine.Target{IntakeKcal: 2900}})
	outlooks := 0
	for _, p := range []engine.Plan{plan, cut, over} {
		for _, who := range []engine.Profile{profile, {}} {
			for n := range len(w.Days) + 1 {
				part := engine.Window{First: start, Days: w.Days[:n]}
				got := convert.RecommendationToProto(planName, phase.Recommend(part, who, p, start+engine.Day(n)))
				finite(t, got.ProtoReflect(), "")
				if len(got.Cautions) == 0 || strings.TrimSpace(got.Cautions[0].Sentence) == "" {
					t.Errorf("day %d: no caution", n)
				}
				if got.Stage == 0 || got.Action == 0 || got.Method == 0 || got.Headline == "" {
					t.Errorf("day %d: %v %v %v %q", n, got.Stage, got.Action, got.Method, got.Headline)
				}
				story := convert.TimelineToProto(planName, phase.Timeline(part, who, p, start+engine.Day(n)))
				finite(t, story.ProtoReflect(), "timeline.")
				if len(story.Cautions) == 0 || len(story.Events) == 0 || story.Stage != got.Stage {
					t.Errorf("day %d: %v", n, story)
				}
				forecast := convert.ForecastToProto(phase.Forecast(part, who, p, start+engine.Day(n)), p.WeekendExtraKcal)
				finite(t, forecast.ProtoReflect(), "forecast.")
				if len(forecast.Cautions) == 0 || (len(forecast.Outlooks) == 0) != (forecast.WhyAbsent != "") {
					t.Errorf("day %d: %v", n, forecast)
				}
				outlooks += len(forecast.Outlooks)
			}
		}
	}
	if outlooks == 0 {
		t.Error("no outlook was ever given")
	}
}

func TestOriginToProto(t *testing.T) {
	if s := convert.OriginToProto(window.FromStore); s != pb.WindowSource_WINDOW_SOURCE_STORE {
		t.Errorf("store: %v", s)
	}
	if s := convert.OriginToProto(window.FromBag); s != pb.WindowSource_WINDOW_SOURCE_SNAPSHOT {
		t.Errorf("bag: %v", s)
	}
}
