package trends

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/engine/strength"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
)

// GetStrengthTrend tells whether strength and training volume hold.
func (s *Server) GetStrengthTrend(ctx context.Context, req *pb.GetStrengthTrendRequest) (*pb.StrengthTrend, error) {
	in, err := call.AsOf{
		Date: req.GetAsOfDate(), Field: "as_of_date", Ahead: ahead, Now: s.Now(), AtLeast: req.GetAtLeastRevision(),
		First: func(asOf engine.Day) engine.Day { return asOf - warmUpDays },
	}.Read(ctx, s.Windows, call.Scope(ctx, convert.TraineeFrom(req.GetName())))
	if err != nil {
		return nil, err
	}
	var cut engine.OptDay
	if in.Snapshot.Plan != nil {
		cut = phase.CutStart(in.Snapshot.Plan.Plan, in.AsOf)
	}
	out := convert.StrengthToProto(strength.Judge(in.Snapshot.Window, in.AsOf, cut))
	out.Name = req.GetName()
	out.Cautions = convert.CautionsToProto(phase.GeneralCautions())
	out.AsOfDate = convert.DayToProto(in.AsOf)
	out.Revision, out.Source = convert.Revision(in.Snapshot.Head), convert.OriginToProto(in.Origin)
	call.TellRevision(ctx, out.GetRevision())
	return out, nil
}
