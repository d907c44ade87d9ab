package phases

import (
	"context"
	"sync"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
)

// recommendAhead allows tomorrow: a caller's clock may run ahead of ours.
const recommendAhead = 1

// Recommend gives the recommendation of an open plan as of a day.
func (s *Server) Recommend(ctx context.Context, req *pb.RecommendRequest) (*pb.Recommendation, error) {
	sc := call.Scope(ctx, convert.TraineeFrom(req.GetName()))
	p, err := s.read(ctx, sc, convert.PlanFrom(req.GetName()), call.AsOf{
		Date: req.GetAsOfDate(), Field: "as_of_date", Ahead: recommendAhead, AtLeast: req.GetAtLeastRevision(),
	})
	if err != nil {
		return nil, err
	}
	out := held(ctx, s.Memo, s.Memo.recommendations, sc, p, func() *pb.Recommendation { return recommendation(sc.Trainee, p) })
	call.TellRevision(ctx, out.GetRevision())
	return out, nil
}

// scratches are the engine's memory: more than half of what a recommendation takes.
var scratches = sync.Pool{New: func() any { return new(phase.Scratch) }}

// recommendation computes and encodes; the engine decides.
func recommendation(trainee string, p present) *pb.Recommendation {
	scratch := scratches.Get().(*phase.Scratch)
	r := scratch.Recommend(p.Snapshot.Window, p.Snapshot.Trainee.Profile, p.plan.Plan, p.AsOf)
	scratches.Put(scratch)
	out := convert.RecommendationToProto(convert.PlanName(trainee, p.plan.ID), r)
	out.Revision = convert.Revision(p.Snapshot.Head)
	out.Source = convert.OriginToProto(p.Origin)
	return out
}
