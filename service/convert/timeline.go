package convert

import (
	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine/phase"
)

// TimelineToProto writes a plan's story. What is not known stays absent.
func TimelineToProto(plan string, s phase.Story) *pb.Timeline {
	out := &pb.Timeline{Plan: plan, AsOfDate: DayToProto(s.AsOf), Stage: stages[s.Stage], Cautions: CautionsToProto(s.Cautions)}
	for _, e := range s.Events {
		out.Events = append(out.Events, &pb.TimelineEvent{
			Date: DayToProto(e.Day), Kind: pb.TimelineEventKind(e.Kind), IsDue: e.IsDue, Action: pb.Action(e.Action), Sentence: e.Sentence,
		})
	}
	if s.Summary != nil {
		out.Summary = summaryToProto(*s.Summary)
	}
	return out
}

func summaryToProto(s phase.Summary) *pb.PlanSummary {
	out := &pb.PlanSummary{
		Days: int32(s.Days), StartWeightKg: s.StartWeightKg, EndWeightKg: s.EndWeightKg, LostPct: s.LostPct,
		MeanRatePctPerWeek: optToProto(s.MeanRatePctPerWeek), StartMaintenanceKcal: s.StartMaintenanceKcal, EndMaintenanceKcal: s.EndMaintenanceKcal,
		BreakDays: int32(s.BreakDays), Refeeds: int32(s.Refeeds), StrengthRetentionPct: optToProto(s.RetentionPct),
	}
	for _, p := range s.Periods {
		out.Periods = append(out.Periods, &pb.PlanPeriod{
			StartDate: DayToProto(p.Start), EndDate: DayToProto(p.End), Action: pb.Action(p.Action), Target: targetToProto(&p.Target, 0),
			LostKg: optToProto(p.LostKg), RatePctPerWeek: optToProto(p.RatePctPerWeek),
		})
	}
	return out
}
