package phases

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/trail"
)

// CreatePlan opens a plan.
func (s *Server) CreatePlan(ctx context.Context, req *pb.CreatePlanRequest) (*pb.Plan, error) {
	trainee := convert.TraineeFrom(req.GetParent())
	sc := call.Scope(ctx, trainee)
	plan, err := convert.PlanFromProto(req.GetPlan(), req.GetPlanId())
	if err != nil {
		return nil, fault.Under("plan", err)
	}
	weight, err := s.presentWeight(ctx, sc)
	if err != nil {
		return nil, err
	}
	if err := invalidPlan(phase.ValidatePlan(plan, weight), "plan"); err != nil {
		return nil, err
	}
	once := call.Once(pb.PhaseService_CreatePlan_FullMethodName, req)
	return call.Update(ctx, s.Store, sc, once, &pb.Plan{},
		func(tx store.Tx) (func(store.Head) *pb.Plan, error) {
			if err := onlyOneOpen(tx, plan); err != nil {
				return nil, err
			}
			today, err := s.today(tx)
			if err != nil {
				return nil, err
			}
			stored, err := tx.InsertPlan(plan)
			if err != nil {
				return nil, err
			}
			err = tx.Audit(trail.Of(ctx, "CreatePlan", convert.PlanName(trainee, stored.ID), s.Now()))
			return func(h store.Head) *pb.Plan { return convert.PlanToProto(trainee, stored, h, today) }, err
		})
}

// invalidPlan turns the engine's objections into an error that names the fields.
func invalidPlan(problems []phase.PlanProblem, prefix string) error {
	if len(problems) == 0 {
		return nil
	}
	out := &fault.Invalid{}
	for _, p := range problems {
		out.Fields = append(out.Fields, fault.Field{Path: prefix + "." + p.Field, Problem: p.Problem})
	}
	return out
}

// plansScanned bounds the search for an open plan: nobody runs more.
const plansScanned = 1000

// onlyOneOpen refuses a second open plan.
func onlyOneOpen(tx store.Tx, plan engine.Plan) error {
	if plan.State != engine.PlanOpen {
		return nil
	}
	plans, err := tx.Plans("", plansScanned)
	if err != nil {
		return err
	}
	for _, p := range plans {
		if p.State == engine.PlanOpen && p.ID != plan.ID {
			return &fault.Refused{Reason: "PLAN_ALREADY_OPEN", Sentence: "the trainee has an open plan; close it first"}
		}
	}
	return nil
}
