package phases

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// ListDecisions lists a plan's decisions in order of recording, each with the
// recommendation that it answered as it was given.
func (s *Server) ListDecisions(ctx context.Context, req *pb.ListDecisionsRequest) (*pb.ListDecisionsResponse, error) {
	limit, after, err := s.Pages.Page(ctx, req)
	if err != nil {
		return nil, err
	}
	trainee, plan := convert.TraineeFrom(req.GetParent()), convert.PlanFrom(req.GetParent())
	out := &pb.ListDecisionsResponse{}
	err = s.Store.View(ctx, call.Scope(ctx, trainee), func(v store.View) error {
		decisions, err := v.Decisions(plan, after, limit+1) // one more tells whether there is another page
		if err != nil {
			return err
		}
		if len(decisions) > limit {
			decisions = decisions[:limit]
			out.NextPageToken = s.Pages.Next(ctx, req, decisions[limit-1].ID)
		}
		for _, d := range decisions {
			given, err := convert.Given(d)
			if err != nil {
				return err
			}
			out.Decisions = append(out.Decisions, convert.DecisionToProto(trainee, plan, d, given, v.Head()))
		}
		call.TellRevision(ctx, convert.Revision(v.Head()))
		return nil
	})
	return out, err
}
