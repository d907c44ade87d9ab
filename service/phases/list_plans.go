package phases

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// ListPlans lists a trainee's plans by id.
func (s *Server) ListPlans(ctx context.Context, req *pb.ListPlansRequest) (*pb.ListPlansResponse, error) {
	limit, after, err := s.Pages.Page(ctx, req)
	if err != nil {
		return nil, err
	}
	trainee := convert.TraineeFrom(req.GetParent())
	out := &pb.ListPlansResponse{}
	err = s.Store.View(ctx, call.Scope(ctx, trainee), func(v store.View) error {
		today, err := s.today(v)
		if err != nil {
			return err
		}
		plans, err := v.Plans(after, limit+1) // one more tells whether there is another page
		if err != nil {
			return err
		}
		if len(plans) > limit {
			plans = plans[:limit]
			out.NextPageToken = s.Pages.Next(ctx, req, plans[limit-1].ID)
		}
		for _, p := range plans {
			out.Plans = append(out.Plans, convert.PlanToProto(trainee, p, v.Head(), today))
		}
		call.TellRevision(ctx, convert.Revision(v.Head()))
		return nil
	})
	return out, err
}
