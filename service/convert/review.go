package convert

import (
	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine/phase"
)

// What a recommendation says beside its action: how it went, how it is borne,
// and what is proposed next to the levers.

func adherenceToProto(a *phase.Adherence) *pb.Adherence {
	if a == nil {
		return nil
	}
	return &pb.Adherence{
		Days: int32(a.Days), LoggedDays: int32(a.LoggedDays), TargetKcal: a.TargetKcal, LoggedKcal: a.LoggedKcal,
		OverPct: a.OverPct, IsOver: a.IsOver, WeekendOverKcal: optToProto(a.WeekendOverKcal),
	}
}

// strainToProto leaves the message out when nothing at all is known.
func strainToProto(s phase.Strain) *pb.Strain {
	if s == (phase.Strain{}) {
		return nil
	}
	return &pb.Strain{
		CheckIns: int32(s.CheckIns), MeanScore: optToProto(s.Mean), HungerEase: optToProto(s.HungerEase), Energy: optToProto(s.Energy),
		Sleep: optToProto(s.Sleep), TrainingDrive: optToProto(s.TrainingDrive), WasSlog: answerToProto(s.WasSlog), IsHigh: s.IsHigh,
		StrengthRetentionPct: optToProto(s.RetentionPct), LiftsWithTrend: int32(s.LiftsWithTrend), FallingLifts: int32(s.FallingLifts),
		HardSetsPct: optToProto(s.HardSetsPct),
	}
}

func refeedsToProto(r *phase.RefeedProposal) *pb.RefeedProposal {
	if r == nil {
		return nil
	}
	return &pb.RefeedProposal{
		EveryDays: int32(r.Target.Refeed.EveryDays), IntakeKcal: r.Target.Refeed.IntakeKcal, OrdinaryIntakeKcal: r.Target.IntakeKcal,
		MeanIntakeKcal: r.MeanIntakeKcal, EarliestDate: DayToProto(r.Earliest), ExpectedBumpKg: interval(r.BumpLowKg, r.BumpHighKg),
		ReadAgainAfterDays: int32(r.ReadAgainDays),
	}
}

func returnToProto(r *phase.MaintenanceReturn, weekendExtraKcal float64) *pb.MaintenanceReturn {
	if r == nil {
		return nil
	}
	out := &pb.MaintenanceReturn{
		MaintenanceKcal: r.MaintenanceKcal, Maintenance_80: interval(r.LowKcal, r.HighKcal),
		ExpectedRegainKg: interval(r.RegainLowKg, r.RegainHighKg), WatchDays: int32(r.WatchDays),
	}
	for _, step := range r.Steps {
		out.Steps = append(out.Steps, targetToProto(&step, weekendExtraKcal))
	}
	return out
}
