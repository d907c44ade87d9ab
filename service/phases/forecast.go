package phases

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
)

// Forecast estimates how long an open plan takes, as of a day.
func (s *Server) Forecast(ctx context.Context, req *pb.ForecastRequest) (*pb.ForecastResponse, error) {
	sc := call.Scope(ctx, convert.TraineeFrom(req.GetName()))
	p, err := s.read(ctx, sc, convert.PlanFrom(req.GetName()), call.AsOf{
		Date: req.GetAsOfDate(), Field: "as_of_date", Ahead: recommendAhead, AtLeast: req.GetAtLeastRevision(),
	})
	if err != nil {
		return nil, err
	}
	out := held(ctx, s.Memo, s.Memo.forecasts, sc, p, func() *pb.ForecastResponse {
		outlooks := phase.Forecast(p.Snapshot.Window, p.Snapshot.Trainee.Profile, p.plan.Plan, p.AsOf)
		out := convert.ForecastToProto(outlooks, p.plan.WeekendExtraKcal)
		out.Revision, out.Source = convert.Revision(p.Snapshot.Head), convert.OriginToProto(p.Origin)
		return out
	})
	call.TellRevision(ctx, out.GetRevision())
	return out, nil
}
