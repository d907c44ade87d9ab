package service_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
)

// cutting makes a trainee with a maintenance test of ten days and the first ten
// of a cut, every day logged, and the decision that began it. Readings of some
// mornings may be heavier by moreKg. All of it is invented.
func (r *running) cutting(t *testing.T, trainee string, moreKg map[int]float64) {
	t.Helper()
	r.trainee(trainee)
	name := "trainees/" + trainee
	if _, err := r.phases().CreatePlan(r.ctx(), &pb.CreatePlanRequest{Parent: name, PlanId: "cut", Plan: &pb.Plan{StartDate: day(0)}}); err != nil {
		t.Fatal(err)
	}
	batch := &pb.BatchCreateEntriesRequest{Parent: name}
	for i := -18; i < 21; i++ {
		kg, kcal := 88.2+0.3*float64((i+18)%2), 2800.0
		if i >= 10 {
			kg, kcal = kg-0.09*float64(i-9), 2200
		}
		batch.Entries = append(batch.Entries, weighIn(i, kg+moreKg[i]), intake(i, kcal))
	}
	if _, err := r.logbook().BatchCreateEntries(r.ctx(), batch); err != nil {
		t.Fatal(err)
	}
	r.decide(t, trainee, 10, &pb.Decision{Action: pb.Action_ACTION_START_DEFICIT, Target: &pb.Target{IntakeKcal: 2200}, AnswersRecommendation: true})
}

// decide records a decision on a plan called cut.
func (r *running) decide(t *testing.T, trainee string, from int, d *pb.Decision) *pb.Decision {
	t.Helper()
	d.FromDate = day(from)
	out, err := r.phases().CreateDecision(r.ctx(), &pb.CreateDecisionRequest{Parent: "trainees/" + trainee + "/plans/cut", Decision: d})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// recommend asks for the recommendation of a plan called cut.
func (r *running) recommend(t *testing.T, trainee string, asOf int) *pb.Recommendation {
	t.Helper()
	out, err := r.phases().Recommend(r.ctx(), &pb.RecommendRequest{Name: "trainees/" + trainee + "/plans/cut", AsOfDate: day(asOf)})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// compare asks both ways in and checks that they agree.
func (r *running) compare(t *testing.T, name string) *pb.DecisionComparison {
	t.Helper()
	out, err := r.phases().CompareDecision(r.ctx(), &pb.CompareDecisionRequest{Name: name})
	if err != nil {
		t.Fatal(err)
	}
	got := r.http(r.token, "GET", "/v1/"+name+":compare", "")
	byJSON := &pb.DecisionComparison{}
	if err := protojson.Unmarshal(got.body, byJSON); err != nil || got.status != 200 {
		t.Fatalf("JSON: %d, %v\n%s", got.status, err, got.body)
	}
	if !proto.Equal(settled(out), settled(byJSON)) {
		t.Errorf("gRPC and JSON differ\n%v\n%v", out, byJSON)
	}
	return out
}

// changedFields are the fields of the changes, in order.
func changedFields(c *pb.DecisionComparison) string {
	fields := make([]string, len(c.GetChanges()))
	for i, x := range c.GetChanges() {
		fields[i] = x.GetField()
	}
	return strings.Join(fields, " ")
}

// sameAdvice clears what tells two trainees' recommendations apart.
func sameAdvice(m *pb.Recommendation) proto.Message {
	out := settled(m).(*pb.Recommendation)
	out.Plan = ""
	return out
}

// TestCompareDecision_OfAnUnchangedLog: what came after the day changes nothing,
// neither entries nor decisions nor the plan's end.
func TestCompareDecision_OfAnUnchangedLog(t *testing.T) {
	r := start(t)
	r.cutting(t, "t1", nil)
	answered := r.recommend(t, "t1", 20)
	d2 := r.decide(t, "t1", 20, &pb.Decision{Action: answered.GetAction(), Target: &pb.Target{IntakeKcal: 2150}, AnswersRecommendation: true})
	check := func(when string) {
		t.Helper()
		got := r.compare(t, d2.GetName())
		if got.GetName() != d2.GetName() || len(got.GetChanges()) != 0 || len(got.GetNow().GetCautions()) == 0 {
			t.Errorf("%s: changes %v, cautions %v", when, got.GetChanges(), got.GetNow().GetCautions())
		}
		if !proto.Equal(settled(got.GetGiven()), settled(answered)) || !proto.Equal(settled(got.GetNow()), settled(answered)) {
			t.Errorf("%s\nanswered %v\ngiven    %v\nnow      %v", when, answered, got.GetGiven(), got.GetNow())
		}
	}
	check("at once")
	if _, err := r.logbook().BatchCreateEntries(r.ctx(), &pb.BatchCreateEntriesRequest{Parent: "trainees/t1", Entries: []*pb.Entry{weighIn(21, 95), intake(20, 4000), weighIn(22, 96)}}); err != nil {
		t.Fatal(err)
	}
	check("with later entries")
	r.decide(t, "t1", 20, &pb.Decision{Action: pb.Action_ACTION_HOLD, Target: &pb.Target{IntakeKcal: 2500}})
	r.decide(t, "t1", 22, &pb.Decision{Action: pb.Action_ACTION_TAKE_BREAK, Target: &pb.Target{IntakeKcal: 2800}})
	check("with later decisions")
	r.change(t, "t1", &pb.Plan{State: pb.PlanState_PLAN_STATE_CLOSED}, "state")
	check("of a closed plan")
}

// TestCompareDecision_OfAnEditedLog: a past reading that is corrected later
// changes what comes out, to what comes out for a trainee whose log held it from
// the start; what was given stays.
func TestCompareDecision_OfAnEditedLog(t *testing.T) {
	edit := map[int]float64{9: 0.9, 10: 0.8, 11: 0.9, 12: 0.7}
	r := start(t)
	r.cutting(t, "t1", nil)
	r.cutting(t, "t2", edit)
	answered, want := r.recommend(t, "t1", 20), r.recommend(t, "t2", 20)
	d2 := r.decide(t, "t1", 20, &pb.Decision{Action: answered.GetAction(), Target: &pb.Target{IntakeKcal: 2150}, AnswersRecommendation: true})
	theirs, err := r.logbook().ListEntries(r.ctx(), &pb.ListEntriesRequest{Parent: "trainees/t2", PageSize: 1000, StartDate: day(9), EndDate: day(12), Kinds: []pb.EntryKind{pb.EntryKind_ENTRY_KIND_WEIGH_IN}})
	if err != nil || len(theirs.GetEntries()) != len(edit) {
		t.Fatalf("%v, %v", theirs, err)
	}
	if _, err := r.logbook().BatchCreateEntries(r.ctx(), &pb.BatchCreateEntriesRequest{Parent: "trainees/t1", Entries: theirs.GetEntries()}); err != nil {
		t.Fatal(err)
	}
	got := r.compare(t, d2.GetName())
	if !proto.Equal(settled(got.GetGiven()), settled(answered)) {
		t.Errorf("what was given changed\n%v\n%v", answered, got.GetGiven())
	}
	if !proto.Equal(sameAdvice(got.GetNow()), sameAdvice(want)) {
		t.Errorf("now  %v\nwant %v", got.GetNow(), want)
	}
	was, is := answered.GetEstimate().GetRatePctPerWeek(), want.GetEstimate().GetRatePctPerWeek()
	if math.Abs(is-was) < 0.02 {
		t.Fatalf("the edit moves the rate from %v to %v: too little to test", was, is)
	}
	var rate *pb.RecommendationChange
	for _, c := range got.GetChanges() {
		if c.GetField() == "estimate.rate_pct_per_week" {
			rate = c
		}
	}
	if rate.GetGiven() != fmt.Sprintf("%.2f", was) || rate.GetNow() != fmt.Sprintf("%.2f", is) {
		t.Errorf("rate %v of %q, want from %v to %v", rate, changedFields(got), was, is)
	}
	if head := got.GetNow().GetRevision(); head == got.GetGiven().GetRevision() || head == "" {
		t.Errorf("revision %q, given %q", head, got.GetGiven().GetRevision())
	}
}

// TestCompareDecision_WithThePlanAsItIs: a number of the plan that was changed
// since counts as it is now.
func TestCompareDecision_WithThePlanAsItIs(t *testing.T) {
	r := start(t)
	r.cutting(t, "t1", nil)
	if c := r.compare(t, "trainees/t1/plans/cut/decisions/d1"); len(c.GetChanges()) != 0 || c.GetGiven().GetProposedTarget() == nil {
		t.Fatalf("%v", c)
	}
	r.change(t, "t1", &pb.Plan{WeekendExtraKcal: proto.Float64(140)}, "weekend_extra_kcal")
	if got := changedFields(r.compare(t, "trainees/t1/plans/cut/decisions/d1")); got != "proposed_target.weekday_intake_kcal proposed_target.weekend_intake_kcal" {
		t.Errorf("changes of %q", got)
	}
}

// TestCompareDecision_Refused: there has to be such a decision, and it has to
// answer something.
func TestCompareDecision_Refused(t *testing.T) {
	r := start(t)
	r.cutting(t, "t1", nil)
	plain := r.decide(t, "t1", 20, &pb.Decision{Action: pb.Action_ACTION_HOLD, Target: &pb.Target{IntakeKcal: 2200}})
	for _, c := range []struct {
		name   string
		code   codes.Code
		reason string
	}{
		{plain.GetName(), codes.FailedPrecondition, "NO_RECOMMENDATION_GIVEN"},
		{"trainees/t1/plans/cut/decisions/d9", codes.NotFound, "NOT_FOUND"},
		{"trainees/t1/plans/nope/decisions/d1", codes.NotFound, "NOT_FOUND"},
		{"trainees/nobody/plans/cut/decisions/d1", codes.NotFound, "NOT_FOUND"},
	} {
		_, err := r.phases().CompareDecision(r.ctx(), &pb.CompareDecisionRequest{Name: c.name})
		if s := status.Convert(err); s.Code() != c.code || reasonOf(s) != c.reason {
			t.Errorf("%s: %v %s", c.name, s, reasonOf(s))
		}
	}
}

// reasonOf is the ErrorInfo reason of a status.
func reasonOf(s *status.Status) string {
	for _, d := range s.Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			return info.GetReason()
		}
	}
	return ""
}
