package convert

import (
	"time"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// DefaultZone is the time zone of a trainee who has none.
const DefaultZone = "UTC"

// conditions pairs the contract's conditions with the engine's set.
var conditions = []struct {
	proto  pb.HealthCondition
	engine engine.Condition
}{
	{pb.HealthCondition_HEALTH_CONDITION_PREGNANT, engine.Pregnant},
	{pb.HealthCondition_HEALTH_CONDITION_BREASTFEEDING, engine.Breastfeeding},
	{pb.HealthCondition_HEALTH_CONDITION_EATING_DISORDER, engine.EatingDisorder},
	{pb.HealthCondition_HEALTH_CONDITION_GLUCOSE_LOWERING_MEDICATION, engine.GlucoseLoweringMedication},
	{pb.HealthCondition_HEALTH_CONDITION_KIDNEY_DISEASE, engine.KidneyDisease},
	{pb.HealthCondition_HEALTH_CONDITION_HEART_DISEASE, engine.HeartDisease},
}

// TraineeFromProto reads what a caller may set of a trainee. now decides
// whether a date of birth lies in the future.
func TraineeFromProto(t *pb.Trainee, id string, now time.Time) (store.Trainee, error) {
	zone := t.GetTimeZone()
	if zone == "" {
		zone = DefaultZone
	}
	today, err := Today(now, zone)
	if err != nil || zone == "Local" {
		return store.Trainee{}, fault.InvalidField("time_zone", "is not a known IANA time zone")
	}
	birth, err := BirthDateFromProto(t.GetBirthDate(), today, "birth_date")
	if err != nil {
		return store.Trainee{}, err
	}
	out := store.Trainee{
		ID: id, DisplayName: t.GetDisplayName(), TimeZone: zone,
		Profile: engine.Profile{
			Sex: engine.Sex(t.GetSex()), BirthDate: birth, HeightCm: optFromProto(t.HeightCm),
			Activity: engine.ActivityLevel(t.GetActivityLevel()), MaintenanceGuessKcal: optFromProto(t.MaintenanceGuessKcal),
		},
	}
	for _, c := range conditions {
		for _, declared := range t.GetConditions() {
			if declared == c.proto {
				out.Profile.Conditions |= c.engine
			}
		}
	}
	return out, nil
}

// TraineeToProto writes a trainee as of a head.
func TraineeToProto(t store.Trainee, h store.Head) *pb.Trainee {
	out := &pb.Trainee{
		Name: TraineeName(t.ID), DisplayName: t.DisplayName, TimeZone: t.TimeZone,
		Sex: pb.Sex(t.Profile.Sex), BirthDate: OptDayToProto(t.Profile.BirthDate), HeightCm: optToProto(t.Profile.HeightCm),
		ActivityLevel: pb.ActivityLevel(t.Profile.Activity), MaintenanceGuessKcal: optToProto(t.Profile.MaintenanceGuessKcal),
		CreateTime: timeToProto(t.Created), UpdateTime: timeToProto(t.Updated), Revision: Revision(h),
	}
	for _, c := range conditions {
		if t.Profile.Conditions.Has(c.engine) {
			out.Conditions = append(out.Conditions, c.proto)
		}
	}
	return out
}
