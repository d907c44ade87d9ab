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
	in, err := s.read(ctx, call.Scope(ctx, convert.TraineeFrom(req.GetName())), req.GetAsOfDate(), "as_of_date",
		func(asOf engine.Day) engine.Day { return asOf - warmUpDays })
	if err != nil {
		return nil, err
	}
	out := &pb.EnergyBalance{
		Name: req.GetName(), Cautions: convert.CautionsToProto(phase.GeneralCautions()),
		Revision: convert.Revision(in.snap.Head), Source: convert.OriginToProto(in.origin),
	}
	var plan *engine.Plan
	if in.snap.Plan != nil {
		plan = &in.snap.Plan.Plan
	}
	b := phase.EnergyBalance(in.snap.Window, in.snap.Trainee.Profile, plan, in.asOf)
	if b.Estimate != nil {
		out.Estimate = convert.EstimateToProto(*b.Estimate)
	}
	out.WhyAbsent, out.GuessKcal, out.GuessBasis = b.WhyAbsent, convert.OptToProto(b.GuessKcal), b.GuessBasis
	call.TellRevision(ctx, out.GetRevision())
	return out, nil
}
