package phases

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/trail"
)

// decisionAhead is how many days ahead a decision may start to hold.
const decisionAhead = 7

// CreateDecision records what was decided. A decision that answers a
// recommendation need not follow it: another action or target is an override,
// kept beside what was recommended, with the caller's note.
func (s *Server) CreateDecision(ctx context.Context, req *pb.CreateDecisionRequest) (*pb.Decision, error) {
	trainee, planID := convert.TraineeFrom(req.GetParent()), convert.PlanFrom(req.GetParent())
	sc := call.Scope(ctx, trainee)
	decision, err := convert.DecisionFromProto(req.GetDecision(), "")
	if err != nil {
		return nil, fault.Under("decision", err)
	}
	// The recommendation that is answered, and the safety of the target, are
	// judged on the log as it stands before the decision.
	p, err := s.read(ctx, sc, planID, call.AsOf{Date: req.GetDecision().GetFromDate(), Field: "decision.from_date", Ahead: decisionAhead})
	if err != nil {
		return nil, err
	}
	if err := invalidPlan(phase.ValidateDecision(p.Snapshot.Window, p.Snapshot.Trainee.Profile, p.plan.Plan, decision), "decision"); err != nil {
		return nil, err
	}
	var given *pb.Recommendation
	if req.GetDecision().GetAnswersRecommendation() {
		given = recommendation(trainee, p)
	}
	once := call.Once(pb.PhaseService_CreateDecision_FullMethodName, req)
	return call.Update(ctx, s.Store, sc, once, &pb.Decision{},
		func(tx store.Tx) (func(store.Head) *pb.Decision, error) {
			plan, err := tx.Plan(planID)
			if err != nil {
				return nil, err
			}
			decision.ID = fmt.Sprintf("d%d", len(plan.Decisions)+1)
			if err := inOrder(plan.Plan, decision); err != nil {
				return nil, err
			}
			var shown []byte
			if given != nil {
				if shown, err = proto.Marshal(given); err != nil {
					return nil, fmt.Errorf("encode the recommendation as given: %w", err)
				}
			}
			stored, err := tx.InsertDecision(planID, decision, shown)
			if err != nil {
				return nil, err
			}
			err = tx.Audit(trail.Of(ctx, "CreateDecision", convert.DecisionName(trainee, planID, stored.ID), s.Now()))
			return func(h store.Head) *pb.Decision { return convert.DecisionToProto(trainee, planID, stored, given, h) }, err
		})
}

// inOrder refuses a decision that would rewrite what held before.
func inOrder(plan engine.Plan, d engine.Decision) error {
	if d.From < plan.Start {
		return fault.InvalidField("decision.from_date", "lies before the plan's start, %s", plan.Start)
	}
	if n := len(plan.Decisions); n > 0 && d.From < plan.Decisions[n-1].From {
		return fault.InvalidField("decision.from_date", "lies before the last decision's day, %s", plan.Decisions[n-1].From)
	}
	return nil
}
