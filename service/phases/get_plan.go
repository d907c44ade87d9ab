package phases

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// GetPlan reads a plan.
func (s *Server) GetPlan(ctx context.Context, req *pb.GetPlanRequest) (*pb.Plan, error) {
	trainee := convert.TraineeFrom(req.GetName())
	var out *pb.Plan
	err := s.Store.View(ctx, call.Scope(ctx, trainee), func(v store.View) error {
		p, err := v.Plan(convert.PlanFrom(req.GetName()))
		if err != nil {
			return err
		}
		today, err := s.today(v)
		out = convert.PlanToProto(trainee, p, v.Head(), today)
		return err
	})
	if err != nil {
		return nil, err
	}
	call.TellRevision(ctx, out.GetRevision())
	return out, nil
}
