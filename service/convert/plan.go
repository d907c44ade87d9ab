package convert

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// PlanFromProto reads what a caller may set of a plan; what is left out takes
// the engine's default.
func PlanFromProto(p *pb.Plan, id string) (engine.Plan, error) {
	start, err := DayFromProto(p.GetStartDate(), "start_date")
	if err != nil {
		return engine.Plan{}, err
	}
	out := engine.DefaultPlan(start)
	out.ID = id
	if p.GetState() == pb.PlanState_PLAN_STATE_CLOSED {
		out.State = engine.PlanClosed
	}
	if p.GetMethod() == pb.ReviewMethod_REVIEW_METHOD_PRACTICE_TABLE {
		out.Method = engine.PracticeTable
	}
	out.GoalWeightKg = optFromProto(p.GoalWeightKg)
	out.GoalBodyFatPct = optFromProto(p.GoalBodyFatPct)
	out.SkipMaintenanceTest = p.GetSkipMaintenanceTest()
	out.IntakeFloorKcal = optFromProto(p.IntakeFloorKcal)
	for _, f := range []struct {
		from *float64
		to   *float64
	}{
		{p.BandLowPctPerWeek, &out.BandLowPctPerWeek}, {p.BandHighPctPerWeek, &out.BandHighPctPerWeek},
		{p.PacePctPerWeek, &out.PacePctPerWeek}, {p.BaseActivityKcal, &out.BaseActivityKcal}, {p.ActivityCapKcal, &out.ActivityCapKcal},
		{p.WeekendExtraKcal, &out.WeekendExtraKcal},
	} {
		if f.from != nil {
			*f.to = *f.from
		}
	}
	for _, f := range []struct {
		from *bool
		to   *bool
	}{
		{p.AllowFoodLever, &out.FoodLever}, {p.AllowActivityLever, &out.ActivityLever}, {p.AllowRefeeds, &out.AllowRefeeds},
	} {
		if f.from != nil {
			*f.to = *f.from
		}
	}
	return out, nil
}

// PlanToProto writes a plan as of a head and a day.
func PlanToProto(trainee string, p store.Plan, h store.Head, today engine.Day) *pb.Plan {
	out := &pb.Plan{
		Name: PlanName(trainee, p.ID), StartDate: DayToProto(p.Start), State: pb.PlanState_PLAN_STATE_OPEN,
		GoalWeightKg: optToProto(p.GoalWeightKg), GoalBodyFatPct: optToProto(p.GoalBodyFatPct),
		Method: MethodToProto(p.Method), SkipMaintenanceTest: p.SkipMaintenanceTest,
		BandLowPctPerWeek: &p.BandLowPctPerWeek, BandHighPctPerWeek: &p.BandHighPctPerWeek, PacePctPerWeek: &p.PacePctPerWeek,
		AllowFoodLever: &p.FoodLever, AllowActivityLever: &p.ActivityLever, AllowRefeeds: &p.AllowRefeeds, WeekendExtraKcal: &p.WeekendExtraKcal,
		BaseActivityKcal: &p.BaseActivityKcal, ActivityCapKcal: &p.ActivityCapKcal, IntakeFloorKcal: optToProto(p.IntakeFloorKcal),
		CreateTime: timeToProto(p.Created), UpdateTime: timeToProto(p.Updated), Revision: Revision(h),
	}
	if p.State == engine.PlanClosed {
		out.State = pb.PlanState_PLAN_STATE_CLOSED
	}
	if t, ok := p.TargetOn(today); ok {
		out.CurrentTarget = targetToProto(&t, p.WeekendExtraKcal)
	}
	return out
}

// MethodToProto writes a review method.
func MethodToProto(m engine.Method) pb.ReviewMethod {
	if m == engine.PracticeTable {
		return pb.ReviewMethod_REVIEW_METHOD_PRACTICE_TABLE
	}
	return pb.ReviewMethod_REVIEW_METHOD_POSTERIOR
}

// DecisionFromProto reads what a caller may set of a decision.
func DecisionFromProto(d *pb.Decision, id string) (engine.Decision, error) {
	from, err := DayFromProto(d.GetFromDate(), "from_date")
	if err != nil {
		return engine.Decision{}, err
	}
	target, err := targetFromProto(d.GetTarget(), "target")
	if err != nil {
		return engine.Decision{}, err
	}
	return engine.Decision{
		ID: id, From: from, Action: engine.Action(d.GetAction()), Target: target, By: d.GetDecidedBy(), Note: d.GetNote(),
	}, nil
}

// DecisionToProto writes a decision as of a head. given is the recommendation
// that it answers; nil when it answers none.
func DecisionToProto(trainee, plan string, d store.Decision, given *pb.Recommendation, h store.Head) *pb.Decision {
	return &pb.Decision{
		Name: DecisionName(trainee, plan, d.ID), FromDate: DayToProto(d.From), Action: pb.Action(d.Action),
		Target: targetToProto(&d.Target, 0), DecidedBy: d.By, Note: d.Note,
		AnswersRecommendation: given != nil, Given: given, CreateTime: timeToProto(d.Recorded), Revision: Revision(h),
	}
}

// Given returns the recommendation that a decision answers, as it was given;
// nil when it answers none.
func Given(d store.Decision) (*pb.Recommendation, error) {
	if d.Given == nil {
		return nil, nil
	}
	out := &pb.Recommendation{}
	if err := proto.Unmarshal(d.Given, out); err != nil {
		return nil, fmt.Errorf("read the recommendation as given: %w", err)
	}
	return out, nil
}
