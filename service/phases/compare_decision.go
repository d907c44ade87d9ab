package phases

import (
	"context"
	"slices"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// CompareDecision computes the recommendation that a decision answered again:
// for the same day, from the log, the profile and the plan's numbers as they now
// stand, and with the decisions that were recorded before this one.
func (s *Server) CompareDecision(ctx context.Context, req *pb.CompareDecisionRequest) (*pb.DecisionComparison, error) {
	trainee, planID := convert.TraineeFrom(req.GetName()), convert.PlanFrom(req.GetName())
	sc := call.Scope(ctx, trainee)
	var a answered
	p, err := s.atOneHead(ctx, sc,
		func(v store.View) (err error) {
			a, err = answeredBy(v, planID, convert.DecisionFrom(req.GetName()))
			return err
		},
		func() (p call.Present, err error) {
			p.AsOf = a.decision.From
			p.Snapshot, p.Origin, err = s.Windows.Snapshot(ctx, sc, p.AsOf-rollingDays)
			return p, err
		})
	if err != nil {
		return nil, err
	}
	now := recommendation(trainee, present{Present: p, plan: a.plan})
	call.TellRevision(ctx, now.GetRevision())
	return &pb.DecisionComparison{
		Name: req.GetName(), Given: a.given, Now: now, Changes: convert.RecommendationChanges(a.given, now),
	}, nil
}

// answered is a decision, what it answered and the plan as it stood before it.
type answered struct {
	decision store.Decision
	given    *pb.Recommendation
	plan     store.Plan
}

// answeredBy reads a decision that answers a recommendation.
func answeredBy(v store.View, planID, id string) (answered, error) {
	plan, err := v.Plan(planID)
	if err != nil {
		return answered{}, err
	}
	i := slices.IndexFunc(plan.Decisions, func(d engine.Decision) bool { return d.ID == id })
	if i < 0 {
		return answered{}, store.ErrNotFound
	}
	before := ""
	if i > 0 {
		before = plan.Decisions[i-1].ID
	}
	found, err := v.Decisions(planID, before, 1)
	if err != nil {
		return answered{}, err
	}
	given, err := convert.Given(found[0])
	if err != nil {
		return answered{}, err
	}
	if given == nil {
		return answered{}, &fault.Refused{Reason: "NO_RECOMMENDATION_GIVEN", Sentence: "the decision answers no recommendation; there is nothing to compare"}
	}
	// A plan that was closed since was being followed on that day.
	plan.Decisions, plan.State = plan.Decisions[:i], engine.PlanOpen
	return answered{found[0], given, plan}, nil
}
