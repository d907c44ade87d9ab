package convert

import (
	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/fault"
)

// targetFromProto reads what a caller may set of a target; field names it in
// the error. A refeed is both of its numbers or neither.
func targetFromProto(t *pb.Target, field string) (engine.Target, error) {
	out := engine.Target{IntakeKcal: t.GetIntakeKcal(), ActivityKcal: t.GetActivityKcal()}
	switch {
	case t == nil || t.RefeedEveryDays == nil && t.RefeedIntakeKcal == nil:
		return out, nil
	case t.RefeedIntakeKcal == nil:
		return out, fault.InvalidField(field+".refeed_intake_kcal", "is required with refeed_every_days")
	case t.RefeedEveryDays == nil:
		return out, fault.InvalidField(field+".refeed_every_days", "is required with refeed_intake_kcal")
	}
	out.Refeed = engine.Refeed{EveryDays: int(*t.RefeedEveryDays), IntakeKcal: *t.RefeedIntakeKcal}
	return out, nil
}

// A Monday and a Saturday: 1970-01-05 and 1970-01-03.
const aMonday, aSaturday = engine.Day(4), engine.Day(2)

// targetToProto writes a target. weekendExtraKcal is the plan's: what Saturday
// and Sunday each get over the target; 0 where every day is alike, and for what
// held in the past, when the plan may have said otherwise.
func targetToProto(t *engine.Target, weekendExtraKcal float64) *pb.Target {
	if t == nil {
		return nil
	}
	out := &pb.Target{IntakeKcal: t.IntakeKcal, ActivityKcal: t.ActivityKcal}
	if t.Refeed.EveryDays > 0 {
		every, kcal := int32(t.Refeed.EveryDays), t.Refeed.IntakeKcal
		out.RefeedEveryDays, out.RefeedIntakeKcal = &every, &kcal
	}
	if weekendExtraKcal > 0 {
		week := engine.Plan{WeekendExtraKcal: weekendExtraKcal}
		weekday, weekend := week.OrdinaryIntakeKcal(*t, aMonday), week.OrdinaryIntakeKcal(*t, aSaturday)
		out.WeekdayIntakeKcal, out.WeekendIntakeKcal = &weekday, &weekend
	}
	return out
}
