package phases

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
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
	out := s.recommendation(sc, p)
	call.TellRevision(ctx, out.GetRevision())
	return out, nil
}

// recommendation is the memo's, or computed. One says where its window came from,
// so only those of a bag are held: what was read of the store is new anyway.
func (s *Server) recommendation(sc store.Scope, p present) *pb.Recommendation {
	if p.Origin != window.FromBag {
		return recommendation(sc.Trainee, p)
	}
	if out, ok := s.Memo.recommendations.Get(sc, p.label()); ok {
		return out
	}
	out := recommendation(sc.Trainee, p)
	s.Memo.recommendations.Put(sc, p.label(), out)
	return out
}

// recommendation computes and encodes; the engine decides.
func recommendation(trainee string, p present) *pb.Recommendation {
	r := phase.Recommend(p.Snapshot.Window, p.Snapshot.Trainee.Profile, p.plan.Plan, p.AsOf)
	out := convert.RecommendationToProto(convert.PlanName(trainee, p.plan.ID), r)
	out.Revision = convert.Revision(p.Snapshot.Head)
	out.Source = convert.OriginToProto(p.Origin)
	return out
}
