package trends

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
)

// GetEnergyBalance gives maintenance and rate of loss as of a morning.
func (s *Server) GetEnergyBalance(ctx context.Context, req *pb.GetEnergyBalanceRequest) (*pb.EnergyBalance, error) {
	in, err := call.AsOf{
		Date: req.GetAsOfDate(), Field: "as_of_date", Ahead: ahead, Now: s.Now(), AtLeast: req.GetAtLeastRevision(),
		First: func(asOf engine.Day) engine.Day { return asOf - warmUpDays },
	}.Read(ctx, s.Windows, call.Scope(ctx, convert.TraineeFrom(req.GetName())))
	if err != nil {
		return nil, err
	}
	out := &pb.EnergyBalance{
		Name: req.GetName(), Cautions: convert.CautionsToProto(phase.GeneralCautions()),
		AsOfDate: convert.DayToProto(in.AsOf), Revision: convert.Revision(in.Snapshot.Head), Source: convert.OriginToProto(in.Origin),
	}
	var plan *engine.Plan
	if in.Snapshot.Plan != nil {
		plan = &in.Snapshot.Plan.Plan
	}
	b := phase.EnergyBalance(in.Snapshot.Window, in.Snapshot.Trainee.Profile, plan, in.AsOf)
	if b.Estimate != nil {
		out.Estimate = convert.EstimateToProto(*b.Estimate)
	}
	out.WhyAbsent, out.GuessKcal, out.GuessBasis = b.WhyAbsent, convert.OptToProto(b.GuessKcal), b.GuessBasis
	call.TellRevision(ctx, out.GetRevision())
	return out, nil
}
