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

// UpdatePlan changes the fields that the mask names.
func (s *Server) UpdatePlan(ctx context.Context, req *pb.UpdatePlanRequest) (*pb.Plan, error) {
	trainee, id, err := convert.PlanIDsFrom(req.GetPlan().GetName(), "plan.name")
	if err != nil {
		return nil, err
	}
	sc := call.Scope(ctx, trainee)
	weight, err := s.presentWeight(ctx, sc)
	if err != nil {
		return nil, err
	}
	once := call.Once(pb.PhaseService_UpdatePlan_FullMethodName, req)
	return call.Update(ctx, s.Store, sc, once, &pb.Plan{},
		func(tx store.Tx) (func(store.Head) *pb.Plan, error) {
			current, err := tx.Plan(id)
			if err != nil {
				return nil, err
			}
			today, err := s.today(tx)
			if err != nil {
				return nil, err
			}
			merged := convert.PlanToProto(trainee, current, tx.Head(), today)
			if err := call.Merge(merged, req.GetPlan(), req.GetUpdateMask()); err != nil {
				return nil, err
			}
			plan, err := convert.PlanFromProto(merged, id)
			if err != nil {
				return nil, fault.Under("plan", err)
			}
			if plan.Start != current.Start {
				return nil, fault.InvalidField("plan.start_date", "is fixed; close this plan and open another")
			}
			// A goal and a pace that stay as they are are not judged anew: the
			// weight may have passed the goal since.
			against := weight
			if plan.GoalWeightKg == current.GoalWeightKg && plan.PacePctPerWeek == current.PacePctPerWeek {
				against = engine.Opt{}
			}
			if err := invalidPlan(phase.ValidatePlan(plan, against), "plan"); err != nil {
				return nil, err
			}
			if err := onlyOneOpen(tx, plan); err != nil {
				return nil, err
			}
			stored, err := tx.PutPlan(plan)
			if err != nil {
				return nil, err
			}
			err = tx.Audit(trail.Of(ctx, "UpdatePlan", convert.PlanName(trainee, id), s.Now()))
			return func(h store.Head) *pb.Plan { return convert.PlanToProto(trainee, stored, h, today) }, err
		})
}
