package storetest

import (
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// fullTrainee has every field set; its times are to be replaced by the store.
func fullTrainee() store.Trainee {
	return store.Trainee{
		ID: "another-id", DisplayName: "Ada of the Example", TimeZone: "Asia/Kathmandu",
		Profile: engine.Profile{
			Sex: engine.Female, BirthDate: engine.SomeDay(-9000), HeightCm: engine.Some(171.5), Activity: engine.LowActive,
			MaintenanceGuessKcal: engine.Some(2150.25), Conditions: engine.KidneyDisease | engine.Pregnant,
		},
		Created: time.Date(1999, 1, 1, 1, 1, 1, 1, time.FixedZone("x", 3600)),
		Updated: time.Date(1998, 1, 1, 1, 1, 1, 1, time.FixedZone("x", 3600)),
	}
}

// fullPlan has every field set, but no decisions.
func fullPlan(id string, state engine.PlanState) engine.Plan {
	return engine.Plan{
		ID: id, State: state, Start: day0 + 3,
		GoalWeightKg: engine.Some(64.1), GoalBodyFatPct: engine.Some(21.7),
		Method: engine.PracticeTable, SkipMaintenanceTest: true,
		BandLowPctPerWeek: 0.4, BandHighPctPerWeek: 0.9, PacePctPerWeek: 0.65,
		FoodLever: true, ActivityLever: true, BaseActivityKcal: 110, ActivityCapKcal: 390.5,
		IntakeFloorKcal: engine.Some(1500), AllowRefeeds: true, WeekendExtraKcal: 180.5,
	}
}

func decision(id string, from engine.Day) engine.Decision {
	return engine.Decision{
		ID: id, From: from, Action: engine.LowerBalance,
		Target: engine.Target{IntakeKcal: 1890.5, ActivityKcal: 125.25, Refeed: engine.Refeed{EveryDays: 9, IntakeKcal: 2480.5}},
		By:     "a coach", Note: "as agreed: 10 % \"less\"",
	}
}

func weighIn(day engine.Day, kg float64) engine.Entry {
	return engine.Entry{Day: day, Key: "1", Fact: engine.WeighIn{Weight: engine.Kg(kg)}}
}

func intake(day engine.Day, kcal float64) engine.Entry {
	return engine.Entry{Day: day, Key: "1", Fact: engine.Intake{Energy: engine.Kcal(kcal)}}
}

// everyFact has each kind of entry with every field known, each with none known,
// and each unit, in the order of the log.
func everyFact() []engine.Entry {
	some := engine.Some
	facts := []engine.Fact{
		engine.WeighIn{Weight: engine.Mass{Value: 154.3, Unit: engine.Pound}, MinuteOfDay: some(0)},
		engine.WeighIn{Weight: engine.Mass{Value: 11.0357, Unit: engine.Stone}},
		engine.WeighIn{Weight: engine.Kg(70.05), MinuteOfDay: some(435)},
		engine.Intake{Energy: engine.Energy{Value: 8123.4, Unit: engine.Kilojoule}, ProteinG: some(131), CarbG: some(0), FatG: some(61.5), SodiumMg: some(2300)},
		engine.Intake{Energy: engine.Kcal(1890), IsPartial: true},
		engine.Activity{Steps: some(10412), Energy: engine.Kcal(312.5), Minutes: some(46)},
		engine.Activity{},
		engine.LiftSet{Lift: "back-squat", Load: engine.Mass{Value: 225, Unit: engine.Pound}, Reps: 5, RepsInReserve: some(2)},
		engine.LiftSet{Lift: "pull-up", Reps: 8}, // body weight: no load was given
		engine.Tape{WaistCm: some(81.5), AbdomenCm: some(86), HipCm: some(99), NeckCm: some(33), ChestCm: some(91), ThighCm: some(56), UpperArmCm: some(30)},
		engine.Tape{},
		engine.BodyFat{Pct: 27.25, Method: engine.BodyFatVisual},
		engine.BodyFat{Pct: 26},
		engine.CheckIn{HungerEase: 1, Energy: 2, Sleep: 3, TrainingDrive: 5, WasSlog: engine.No},
		engine.CheckIn{},
		engine.PhotoSet{Reference: "album/7?x=<1>&y=\"2\""},
		engine.PhotoSet{},
		engine.Mark{Of: engine.MarkRefeed, TargetKcal: some(2600)},
		engine.Mark{Of: engine.MarkMissedPeriod},
	}
	var out []engine.Entry
	for i, f := range facts {
		out = append(out, engine.Entry{Day: day0, Key: string(rune('a' + i)), Note: f.Kind().String(), Fact: f})
	}
	return out
}

// fill writes something of every sort.
func fill(tx store.Tx) error {
	if err := tx.PutEntries(append(everyFact(), weighIn(day0+2, 70.5))); err != nil {
		return err
	}
	if _, err := tx.InsertPlan(fullPlan("plan-a", engine.PlanClosed)); err != nil {
		return err
	}
	if _, err := tx.InsertPlan(fullPlan("plan-b", engine.PlanOpen)); err != nil {
		return err
	}
	for _, plan := range []string{"plan-a", "plan-b"} {
		if _, err := tx.InsertDecision(plan, decision("first", day0+5), []byte("shown")); err != nil {
			return err
		}
	}
	return tx.PutUpload(store.Upload{ID: "file", SHA256: "00ff", NextSeq: 3, Committed: 20})
}

// overturn changes everything that fill wrote.
func overturn(tx store.Tx) error {
	if err := tx.PutEntries([]engine.Entry{weighIn(day0, 99), weighIn(day0+9, 98)}); err != nil {
		return err
	}
	if err := tx.DeleteEntry(weighIn(day0+2, 0).ID()); err != nil {
		return err
	}
	if err := tx.PutTrainee(store.Trainee{DisplayName: "overturned", TimeZone: "UTC"}); err != nil {
		return err
	}
	if _, err := tx.PutPlan(engine.Plan{ID: "plan-b", State: engine.PlanClosed}); err != nil {
		return err
	}
	if _, err := tx.InsertPlan(fullPlan("plan-c", engine.PlanOpen)); err != nil {
		return err
	}
	if _, err := tx.InsertDecision("plan-a", decision("second", day0), nil); err != nil {
		return err
	}
	return tx.PutUpload(store.Upload{ID: "file", SHA256: "00ff", NextSeq: 4, Committed: 30})
}
