package service_test

import (
	"math"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
)

// planOf reads a plan called cut by both ways in and checks that they agree.
func (r *running) planOf(t *testing.T, trainee string) *pb.Plan {
	t.Helper()
	name := "trainees/" + trainee + "/plans/cut"
	out, err := r.phases().GetPlan(r.ctx(), &pb.GetPlanRequest{Name: name})
	if err != nil {
		t.Fatal(err)
	}
	got, byJSON := r.http(r.token, "GET", "/v1/"+name, ""), &pb.Plan{}
	if err := protojson.Unmarshal(got.body, byJSON); err != nil || !proto.Equal(out, byJSON) {
		t.Errorf("gRPC and JSON differ (%v)\n%v\n%s", err, out, got.body)
	}
	return out
}

// refusedDecision sends a decision by both ways in; each has to refuse the field.
func (r *running) refusedDecision(t *testing.T, d *pb.Decision, field string) {
	t.Helper()
	req := &pb.CreateDecisionRequest{Parent: "trainees/t1/plans/cut", Decision: d}
	_, err := r.phases().CreateDecision(r.ctx(), req)
	refusedFor(t, "gRPC", status.Convert(err), field)
	r.refusedJSON(t, transcode(t, methods()[pb.PhaseService_CreateDecision_FullMethodName], req), field)
}

// TestWeekendGetsMore: with 350 kcal more on Saturday and Sunday every target
// says what the other days get, 140 less, so that the week stays the same; and
// those days keep to the floor.
func TestWeekendGetsMore(t *testing.T) {
	r := start(t)
	r.cutting(t, "t1", nil)
	if p := r.planOf(t, "t1"); p.GetWeekendExtraKcal() != 0 || p.WeekendExtraKcal == nil || !p.GetAllowRefeeds() || p.GetCurrentTarget().WeekdayIntakeKcal != nil {
		t.Errorf("by default %v", p)
	}
	plan := r.change(t, "t1", &pb.Plan{WeekendExtraKcal: proto.Float64(350), IntakeFloorKcal: proto.Float64(1900), AllowRefeeds: proto.Bool(false)},
		"weekend_extra_kcal", "intake_floor_kcal", "allow_refeeds")
	if plan.GetWeekendExtraKcal() != 350 || plan.GetAllowRefeeds() {
		t.Fatalf("%v", plan)
	}
	split := func(what string, target *pb.Target) {
		t.Helper()
		switch {
		case target.WeekdayIntakeKcal == nil || target.WeekendIntakeKcal == nil:
			t.Errorf("%s: not told apart: %v", what, target)
		case math.Abs(target.GetIntakeKcal()-target.GetWeekdayIntakeKcal()-140) > 1e-9 || math.Abs(target.GetWeekendIntakeKcal()-target.GetIntakeKcal()-350) > 1e-9:
			t.Errorf("%s: %v", what, target)
		}
	}
	split("of the plan", plan.GetCurrentTarget())
	split("of the plan read again", r.planOf(t, "t1").GetCurrentTarget())
	got := r.recommend(t, "t1", 20)
	split("in force", got.GetCurrentTarget())
	options := 0
	for _, o := range got.GetOptions() {
		if o.GetIsPossible() {
			options++
			split(o.GetLever().String(), o.GetTarget())
		}
	}
	if options == 0 {
		t.Errorf("nothing is proposed: %v", got)
	}
	if p := got.GetProposedTarget(); p == nil {
		t.Errorf("nothing is proposed: %v", got)
	} else {
		split("proposed", p)
	}
	// 2039 less 140 is under the floor of 1900, 2040 less 140 is not.
	r.refusedDecision(t, &pb.Decision{FromDate: day(20), Action: pb.Action_ACTION_LOWER_BALANCE, Target: &pb.Target{IntakeKcal: 2039}}, "decision.target.intake_kcal")
	d := r.decide(t, "t1", 20, &pb.Decision{Action: pb.Action_ACTION_LOWER_BALANCE, Target: &pb.Target{IntakeKcal: 2040}})
	if d.GetTarget().WeekdayIntakeKcal != nil || d.GetTarget().WeekendIntakeKcal != nil {
		t.Errorf("what was decided is the week: %v", d.GetTarget())
	}
	split("decided", r.planOf(t, "t1").GetCurrentTarget())
	r.change(t, "t1", &pb.Plan{}, "weekend_extra_kcal", "allow_refeeds") // named and left out: back to the defaults
	if p := r.planOf(t, "t1"); p.GetWeekendExtraKcal() != 0 || !p.GetAllowRefeeds() || p.GetCurrentTarget().WeekendIntakeKcal != nil {
		t.Errorf("back to the defaults: %v", p)
	}
}

// TestRefeedsOfATarget: they are kept and told wherever the target is, and are
// refused where they make no sense, by name.
func TestRefeedsOfATarget(t *testing.T) {
	r := start(t)
	r.cutting(t, "t1", nil)
	target := func(every *int32, kcal *float64) *pb.Target {
		return &pb.Target{IntakeKcal: 2150, RefeedEveryDays: every, RefeedIntakeKcal: kcal}
	}
	before := r.dump("t1")
	for _, c := range []struct {
		every *int32
		kcal  *float64
		field string
	}{
		{proto.Int32(10), nil, "decision.target.refeed_intake_kcal"},
		{nil, proto.Float64(2700), "decision.target.refeed_every_days"},
		{proto.Int32(2), proto.Float64(2700), "decision.target.refeed_every_days"},
		{proto.Int32(29), proto.Float64(2700), "decision.target.refeed_every_days"},
		{proto.Int32(0), proto.Float64(2700), "decision.target.refeed_every_days"},
		{proto.Int32(10), proto.Float64(8001), "decision.target.refeed_intake_kcal"},
		{proto.Int32(10), proto.Float64(math.NaN()), "decision.target.refeed_intake_kcal"},
		{proto.Int32(10), proto.Float64(2149), "decision.target.refeed_intake_kcal"}, // less than an ordinary day
	} {
		r.refusedDecision(t, &pb.Decision{FromDate: day(20), Action: pb.Action_ACTION_CHANGE_REFEEDS, Target: target(c.every, c.kcal)}, c.field)
	}
	if after := r.dump("t1"); after != before {
		t.Error("a refused decision changed the store")
	}
	want := target(proto.Int32(10), proto.Float64(2700))
	d := r.decide(t, "t1", 20, &pb.Decision{Action: pb.Action_ACTION_CHANGE_REFEEDS, Target: want})
	list, err := r.phases().ListDecisions(r.ctx(), &pb.ListDecisionsRequest{Parent: "trainees/t1/plans/cut"})
	if err != nil || len(list.GetDecisions()) != 2 {
		t.Fatalf("%v, %v", list, err)
	}
	for what, got := range map[string]*pb.Target{
		"answered": d.GetTarget(), "listed": list.GetDecisions()[1].GetTarget(), "of the plan": r.planOf(t, "t1").GetCurrentTarget(),
		"in force": r.recommend(t, "t1", 21).GetCurrentTarget(),
	} {
		if !proto.Equal(got, want) {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	if none := list.GetDecisions()[0].GetTarget(); none.RefeedEveryDays != nil || none.RefeedIntakeKcal != nil {
		t.Errorf("without refeeds: %v", none)
	}
}

// TestOverride: a decision may answer a recommendation with something else. Both
// are kept, with the note, and what was decided holds.
func TestOverride(t *testing.T) {
	r := start(t)
	r.cutting(t, "t1", nil)
	advice := r.recommend(t, "t1", 20)
	if advice.GetAction() == pb.Action_ACTION_TAKE_BREAK || advice.GetProposedTarget().GetIntakeKcal() == 2750 {
		t.Fatalf("the advice is what the test decides: %v", advice)
	}
	want := &pb.Decision{
		Action: pb.Action_ACTION_TAKE_BREAK, Target: &pb.Target{IntakeKcal: 2750}, AnswersRecommendation: true, DecidedBy: "coach", Note: "exams next week: a break first",
	}
	made := r.decide(t, "t1", 20, want)
	list, err := r.phases().ListDecisions(r.ctx(), &pb.ListDecisionsRequest{Parent: "trainees/t1/plans/cut"})
	if err != nil || len(list.GetDecisions()) != 2 {
		t.Fatalf("%v, %v", list, err)
	}
	for what, d := range map[string]*pb.Decision{"answered": made, "listed": list.GetDecisions()[1]} {
		if d.GetAction() != want.Action || !proto.Equal(d.GetTarget(), want.Target) || d.GetNote() != want.Note || d.GetDecidedBy() != "coach" || !d.GetAnswersRecommendation() {
			t.Errorf("%s: %v", what, d)
		}
		if !proto.Equal(settled(d.GetGiven()), settled(advice)) {
			t.Errorf("%s, given %v\nwant %v", what, d.GetGiven(), advice)
		}
	}
	if after := r.recommend(t, "t1", 21); after.GetStage() != pb.Stage_STAGE_DIET_BREAK || after.GetCurrentTarget().GetIntakeKcal() != 2750 {
		t.Errorf("after it: %v %v", after.GetStage(), after.GetCurrentTarget())
	}
	// An override is not above the floor.
	_, err = r.phases().CreateDecision(r.ctx(), &pb.CreateDecisionRequest{Parent: "trainees/t1/plans/cut", Decision: &pb.Decision{
		FromDate: day(21), Action: pb.Action_ACTION_LOWER_BALANCE, Target: &pb.Target{IntakeKcal: 1000}, AnswersRecommendation: true, Note: "faster",
	}})
	if status.Code(err) != codes.InvalidArgument {
		t.Errorf("under the floor: %v", err)
	}
}
