package convert_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/testing/protocmp"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/strength"
	"example.com/steelyard/service/convert"
)

func TestStrength_EveryNumberInItsPlace(t *testing.T) {
	got := convert.StrengthToProto(strength.Report{
		HardSets: strength.Volume{PerWeek: engine.Some(30), BaselinePerWeek: engine.Some(31), Pct: engine.Some(96.5)},
		Lifts: []strength.LiftReport{{
			Lift: "press", LatestE1RMKg: engine.Some(61.5), LatestDay: engine.SomeDay(mustDay(2026, 2, 27)),
			Trend:     strength.LiftTrend{PctPerWeek: engine.Some(-0.4), LowPctPerWeek: engine.Some(-0.9), HighPctPerWeek: engine.Some(0.1), Sessions: 7},
			Retention: strength.Retention{Pct: engine.Some(98.5), BaselineE1RMKg: engine.Some(1), RecentE1RMKg: engine.Some(2)},
			HardSets:  strength.Volume{PerWeek: engine.Some(10), BaselinePerWeek: engine.Some(0)},
		}},
	})
	want := &pb.StrengthTrend{
		HardSets: &pb.HardSets{PerWeek: ptr(30.), BaselinePerWeek: ptr(31.), Pct: ptr(96.5)},
		Lifts: []*pb.LiftTrend{{
			Lift: "press", Sessions: 7, LatestE1RmKg: ptr(61.5), LatestDate: &date.Date{Year: 2026, Month: 2, Day: 27},
			TrendPctPerWeek: ptr(-0.4), Trend_80: &pb.Interval{Low: -0.9, High: 0.1}, RetentionPct: ptr(98.5),
			HardSets: &pb.HardSets{PerWeek: ptr(10.), BaselinePerWeek: ptr(0.)},
		}},
	}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Error(diff)
	}
}

// TestStrength_UnknownStaysAbsentWithWhy, whatever lies in the engine's memory.
func TestStrength_UnknownStaysAbsentWithWhy(t *testing.T) {
	unknown := engine.Opt{V: math.NaN()}
	got := convert.StrengthToProto(strength.Report{
		HardSets: strength.Volume{PerWeek: unknown, BaselinePerWeek: unknown, Pct: unknown, Why: strength.NoCut},
		Lifts: []strength.LiftReport{{
			Lift: "press", LatestE1RMKg: unknown, LatestDay: engine.OptDay{Day: 7},
			Trend:     strength.LiftTrend{PctPerWeek: unknown, LowPctPerWeek: engine.Some(1), HighPctPerWeek: unknown, Sessions: 2, Why: strength.TooFewSessions},
			Retention: strength.Retention{Pct: unknown, Why: strength.NoEstimate},
			HardSets:  strength.Volume{Why: strength.NothingLogged},
		}},
	})
	want := &pb.StrengthTrend{
		HardSets: &pb.HardSets{WhyAbsent: strength.NoCut.String()},
		Lifts: []*pb.LiftTrend{{
			Lift: "press", Sessions: 2, WhyNoTrend: strength.TooFewSessions.String(), WhyNoRetention: strength.NoEstimate.String(),
			HardSets: &pb.HardSets{WhyAbsent: strength.NothingLogged.String()},
		}},
	}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Error(diff)
	}
	finite(t, got.ProtoReflect(), "")
	finite(t, convert.StrengthToProto(strength.Report{}).ProtoReflect(), "")
}
