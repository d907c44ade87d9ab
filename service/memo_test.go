package service_test

import (
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.com/steelyard/api/steelyard/v1"
)

// TestMemo_AnswersAsIfComputed: after each kind of write an answer that is held
// is the one that is computed. Only the last day asked about is held, so that
// asking about another in between has it computed anew.
func TestMemo_AnswersAsIfComputed(t *testing.T) {
	r := start(t)
	must := func(_ any, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	recommend := func(plan string, on int) *pb.Recommendation {
		t.Helper()
		got, err := r.phases().Recommend(r.ctx(), &pb.RecommendRequest{Name: "trainees/t1/plans/" + plan, AsOfDate: day(on)})
		must(got, err)
		return got
	}
	forecast := func(plan string, on int) *pb.ForecastResponse {
		t.Helper()
		got, err := r.phases().Forecast(r.ctx(), &pb.ForecastRequest{Name: "trainees/t1/plans/" + plan, AsOfDate: day(on)})
		must(got, err)
		return got
	}
	var last *pb.Recommendation
	check := func(after, plan string) {
		t.Helper()
		new := recommend(plan, 40)
		for range 3 { // of the store, of the bag, of the memo
			held := recommend(plan, 40)
			if held.GetSource() != pb.WindowSource_WINDOW_SOURCE_SNAPSHOT {
				t.Errorf("after %s: the window is in the bag, and the answer says %v", after, held.GetSource())
			}
			held.Source = new.GetSource()
			if !proto.Equal(held, new) {
				t.Errorf("after %s:\nheld     %v\ncomputed %v", after, held, new)
			}
		}
		if other := recommend(plan, 41); other.GetAsOfDate().GetDay() == new.GetAsOfDate().GetDay() {
			t.Errorf("after %s: the answer for another day is for %v", after, other.GetAsOfDate())
		}
		if again := recommend(plan, 40); !proto.Equal(again.GetEstimate(), new.GetEstimate()) || again.GetHeadline() != new.GetHeadline() {
			t.Errorf("after %s: computed again it is another", after)
		}
		if proto.Equal(last, new) {
			t.Errorf("%s changed nothing: the test proves nothing", after)
		}
		last = new
		ahead := forecast(plan, 40)
		held := forecast(plan, 40)
		forecast(plan, 41)
		if again := forecast(plan, 40); !proto.Equal(held, ahead) || !proto.Equal(again, ahead) || ahead.GetRevision() != new.GetRevision() {
			t.Errorf("after %s: forecasts\nfirst %v\nheld  %v\nagain %v", after, ahead, held, again)
		}
	}

	plan := func(id string) {
		t.Helper()
		goal := 80.0
		must(r.phases().CreatePlan(r.ctx(), &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: id, Plan: &pb.Plan{StartDate: day(0), GoalWeightKg: &goal}}))
	}
	for range 2 { // the second time as another incarnation
		r.trainee("t1")
		plan("cut")
		for i := range 40 {
			must(r.logbook().BatchCreateEntries(r.ctx(), &pb.BatchCreateEntriesRequest{Parent: "trainees/t1", Entries: []*pb.Entry{weighIn(i, 90-0.08*float64(i)), intake(i, 2300)}}))
		}
		check("the log", "cut")
		must(r.logbook().CreateEntry(r.ctx(), &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: weighIn(40, 86.1)}))
		check("an entry", "cut")
		must(r.trainees().UpdateTrainee(r.ctx(), &pb.UpdateTraineeRequest{Trainee: &pb.Trainee{Name: "trainees/t1", TimeZone: "Pacific/Auckland", ActivityLevel: pb.ActivityLevel_ACTIVITY_LEVEL_VERY_ACTIVE}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"time_zone", "activity_level"}}}))
		check("the profile", "cut")
		must(r.phases().CreateDecision(r.ctx(), &pb.CreateDecisionRequest{Parent: "trainees/t1/plans/cut", Decision: &pb.Decision{FromDate: day(30), Action: pb.Action_ACTION_START_DEFICIT, Target: &pb.Target{IntakeKcal: 2200}}}))
		check("a decision", "cut")
		must(r.phases().UpdatePlan(r.ctx(), &pb.UpdatePlanRequest{Plan: &pb.Plan{Name: "trainees/t1/plans/cut", State: pb.PlanState_PLAN_STATE_CLOSED}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"state"}}}))
		plan("other")
		check("another plan", "other")
		must(r.trainees().EraseTrainee(r.ctx(), &pb.EraseTraineeRequest{Name: "trainees/t1"}))
	}
}
