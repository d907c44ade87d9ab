package convert_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/convert"
)

func change(field, given, now string) *pb.RecommendationChange {
	return &pb.RecommendationChange{Field: field, Given: given, Now: now}
}

// given is what the changes of the tests start from.
func given() *pb.Recommendation {
	return &pb.Recommendation{
		Action: pb.Action_ACTION_LOWER_BALANCE, Stage: pb.Stage_STAGE_WEEKLY_REVIEWS, Headline: "Eat less.",
		ProposedTarget: &pb.Target{IntakeKcal: 2100, ActivityKcal: 125},
		Estimate:       &pb.EnergyEstimate{RatePctPerWeek: ptr(0.42), MaintenanceKcal: 2604, RateSdPctPerWeek: ptr(0.2)},
		Findings:       []*pb.Finding{{Code: "TOO_SLOW"}, {Code: "READING_REFUSED"}, {Code: "LOG_GAP"}},
	}
}

// TestRecommendationChanges: each thing that matters is told, in its order, and
// nothing else.
func TestRecommendationChanges(t *testing.T) {
	for name, c := range map[string]struct {
		alter func(r *pb.Recommendation)
		want  []*pb.RecommendationChange
	}{
		"nothing": {func(*pb.Recommendation) {}, nil},
		"words, dates and spreads": {func(r *pb.Recommendation) {
			r.Headline, r.PlanDay, r.Revision, r.Estimate.RateSdPctPerWeek, r.Findings[0].Sentence = "Eat a little less.", 9, "x-9", ptr(0.3), "Slow."
		}, nil},
		"less than the grain": {func(r *pb.Recommendation) {
			r.Estimate.RatePctPerWeek, r.Estimate.MaintenanceKcal = ptr(0.4295), 2613.9 // one prints as 0.43
		}, nil},
		"the grain": {func(r *pb.Recommendation) {
			r.Estimate.RatePctPerWeek, r.Estimate.MaintenanceKcal = ptr(0.4301), 2593.9
		}, []*pb.RecommendationChange{change("estimate.rate_pct_per_week", "0.42", "0.43"), change("estimate.maintenance_kcal", "2604", "2594")}},
		"everything": {func(r *pb.Recommendation) {
			r.Action, r.Stage = pb.Action_ACTION_CHANGE_REFEEDS, pb.Stage_STAGE_BASE_ACTIVITY
			r.ProposedTarget = &pb.Target{
				IntakeKcal: 2051, ActivityKcal: 0, RefeedEveryDays: ptr(int32(10)), RefeedIntakeKcal: ptr(2600.), WeekdayIntakeKcal: ptr(2011.), WeekendIntakeKcal: ptr(2151.),
			}
			r.Estimate = &pb.EnergyEstimate{RatePctPerWeek: ptr(-0.1), MaintenanceKcal: 2700}
			r.Findings = []*pb.Finding{{Code: "REFEEDS_DUE"}, {Code: "LOG_GAP"}, {Code: "LOG_GAP"}, {Code: "TOO_SLOW"}}
		}, []*pb.RecommendationChange{
			change("action", "ACTION_LOWER_BALANCE", "ACTION_CHANGE_REFEEDS"), change("stage", "STAGE_WEEKLY_REVIEWS", "STAGE_BASE_ACTIVITY"),
			change("proposed_target.intake_kcal", "2100", "2051"), change("proposed_target.activity_kcal", "125", "0"),
			change("proposed_target.refeed_every_days", "", "10"), change("proposed_target.refeed_intake_kcal", "", "2600"),
			change("proposed_target.weekday_intake_kcal", "", "2011"), change("proposed_target.weekend_intake_kcal", "", "2151"),
			change("estimate.rate_pct_per_week", "0.42", "-0.10"), change("estimate.maintenance_kcal", "2604", "2700"),
			change("findings", "READING_REFUSED", ""), change("findings", "", "REFEEDS_DUE"), change("findings", "", "LOG_GAP"),
		}},
		"gone": {func(r *pb.Recommendation) {
			r.ProposedTarget, r.Estimate = nil, nil
		}, []*pb.RecommendationChange{
			change("proposed_target.intake_kcal", "2100", ""), change("proposed_target.activity_kcal", "125", ""),
			change("estimate.rate_pct_per_week", "0.42", ""), change("estimate.maintenance_kcal", "2604", ""),
		}},
	} {
		t.Run(name, func(t *testing.T) {
			now := proto.Clone(given()).(*pb.Recommendation)
			c.alter(now)
			if diff := cmp.Diff(c.want, convert.RecommendationChanges(given(), now), protocmp.Transform()); diff != "" {
				t.Error(diff)
			}
			if turned := convert.RecommendationChanges(now, given()); len(turned) != len(c.want) {
				t.Errorf("the other way round %v", turned)
			}
		})
	}
}

// TestRecommendationChanges_OfEveryFieldOfTheTarget: a field that a target
// gains is compared without another word.
func TestRecommendationChanges_OfEveryFieldOfTheTarget(t *testing.T) {
	fields := (&pb.Target{}).ProtoReflect().Descriptor().Fields()
	got := convert.RecommendationChanges(&pb.Recommendation{}, &pb.Recommendation{ProposedTarget: &pb.Target{
		IntakeKcal: 1, ActivityKcal: 2, RefeedEveryDays: ptr(int32(3)), RefeedIntakeKcal: ptr(4.), WeekdayIntakeKcal: ptr(5.), WeekendIntakeKcal: ptr(6.),
	}})
	if len(got) != fields.Len() {
		t.Fatalf("%d changes for %d fields: %v", len(got), fields.Len(), got)
	}
	for i, c := range got {
		if want := "proposed_target." + string(fields.Get(i).Name()); c.Field != want || c.Given != "" || c.Now != string(rune('1'+i)) {
			t.Errorf("%v, want %s", c, want)
		}
	}
}
