package convert

import (
	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine/strength"
)

// StrengthToProto writes a strength report. What is not known stays absent, with why.
func StrengthToProto(r strength.Report) *pb.StrengthTrend {
	out := &pb.StrengthTrend{HardSets: hardSetsToProto(r.HardSets)}
	for _, l := range r.Lifts {
		lift := &pb.LiftTrend{
			Lift: l.Lift, Sessions: int32(l.Trend.Sessions), LatestE1RmKg: optToProto(l.LatestE1RMKg), LatestDate: OptDayToProto(l.LatestDay),
			TrendPctPerWeek: optToProto(l.Trend.PctPerWeek), WhyNoTrend: l.Trend.Why.String(),
			RetentionPct: optToProto(l.Retention.Pct), WhyNoRetention: l.Retention.Why.String(),
			HardSets: hardSetsToProto(l.HardSets),
		}
		if l.Trend.LowPctPerWeek.OK && l.Trend.HighPctPerWeek.OK {
			lift.Trend_80 = interval(l.Trend.LowPctPerWeek.V, l.Trend.HighPctPerWeek.V)
		}
		out.Lifts = append(out.Lifts, lift)
	}
	return out
}

func hardSetsToProto(v strength.Volume) *pb.HardSets {
	return &pb.HardSets{
		PerWeek: optToProto(v.PerWeek), BaselinePerWeek: optToProto(v.BaselinePerWeek), Pct: optToProto(v.Pct), WhyAbsent: v.Why.String(),
	}
}
