package convert

import (
	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine/phase"
)

// ForecastToProto writes the outlooks of a plan; weekendExtraKcal is the plan's.
// What is not known stays absent.
func ForecastToProto(o phase.Outlooks, weekendExtraKcal float64) *pb.ForecastResponse {
	out := &pb.ForecastResponse{
		WhyAbsent: o.WhyNot, Goal: goalToProto(o.Goal), Findings: findingsToProto(o.Findings), Cautions: CautionsToProto(o.Cautions),
		AsOfDate: DayToProto(o.AsOf),
	}
	for _, x := range o.Outlooks {
		out.Outlooks = append(out.Outlooks, &pb.Outlook{
			Pace: pb.ForecastPace(x.Pace), PacePctPerWeek: x.PacePctPerWeek,
			EarliestDate: OptDayToProto(x.Earliest), MedianDate: OptDayToProto(x.Median), LatestDate: OptDayToProto(x.Latest),
			TargetNow: targetToProto(&x.TargetNow, weekendExtraKcal), TargetAtGoal: targetToProto(&x.TargetAtGoal, weekendExtraKcal),
			FloorDate: OptDayToProto(x.FloorDay), LeanSharePct: optToProto(x.LeanSharePct),
		})
	}
	return out
}

func goalToProto(g phase.Goal) *pb.GoalEstimate {
	if g.Kind == phase.GoalNone {
		return nil
	}
	out := &pb.GoalEstimate{WeightKg: optToProto(g.WeightKg), WeightSdKg: optToProto(g.WeightSDKg), Sentence: g.Sentence}
	if g.Kind == phase.GoalBodyFat { // a goal weight rests on no measurement of fat
		out.BodyFatPct, out.BodyFatSePct, out.MeasuredDate = optToProto(g.BodyFatPct), optToProto(g.BodyFatSEPct), OptDayToProto(g.Day)
	}
	return out
}
