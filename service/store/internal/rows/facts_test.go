package rows

import (
	"testing"

	"example.com/steelyard/engine"
)

// The stored form of each kind of fact. A file written by any version must be
// read by every later one: add cases here, never change one.
func TestStoredForm(t *testing.T) {
	some := engine.Some
	for _, c := range []struct {
		fact engine.Fact
		text string
	}{
		{engine.WeighIn{Weight: engine.Kg(70.05), MinuteOfDay: some(435)}, `{"weight":{"v":70.05,"u":"kg"},"minute":435}`},
		{engine.WeighIn{Weight: engine.Mass{Value: 154, Unit: engine.Pound}}, `{"weight":{"v":154,"u":"lb"}}`},
		{engine.WeighIn{Weight: engine.Mass{Value: 11, Unit: engine.Stone}}, `{"weight":{"v":11,"u":"st"}}`},
		{engine.WeighIn{}, `{"weight":{"v":0}}`},
		{engine.Intake{Energy: engine.Kcal(1900), ProteinG: some(140), CarbG: some(200), FatG: some(60), SodiumMg: some(2300), IsPartial: true},
			`{"energy":{"v":1900,"u":"kcal"},"protein_g":140,"carb_g":200,"fat_g":60,"sodium_mg":2300,"partial":true}`},
		{engine.Intake{Energy: engine.Energy{Value: 8000, Unit: engine.Kilojoule}}, `{"energy":{"v":8000,"u":"kJ"}}`},
		{engine.Activity{Steps: some(0), Energy: engine.Kcal(300), Minutes: some(45)},
			`{"steps":0,"energy":{"v":300,"u":"kcal"},"minutes":45}`},
		{engine.Activity{}, `{}`},
		{engine.LiftSet{Lift: "press", Load: engine.Kg(40), Reps: 5, RepsInReserve: some(0)},
			`{"lift":"press","load":{"v":40,"u":"kg"},"reps":5,"reserve":0}`},
		{engine.Tape{WaistCm: some(1), AbdomenCm: some(2), HipCm: some(3), NeckCm: some(4), ChestCm: some(5), ThighCm: some(6), UpperArmCm: some(7)},
			`{"waist_cm":1,"abdomen_cm":2,"hip_cm":3,"neck_cm":4,"chest_cm":5,"thigh_cm":6,"upper_arm_cm":7}`},
		{engine.BodyFat{Pct: 25, Method: engine.BodyFatTape}, `{"pct":25,"method":4}`},
		{engine.CheckIn{HungerEase: 1, Energy: 2, Sleep: 3, TrainingDrive: 4, WasSlog: engine.No},
			`{"hunger_ease":1,"energy":2,"sleep":3,"training_drive":4,"was_slog":2}`},
		{engine.CheckIn{}, `{}`},
		{engine.PhotoSet{Reference: "album/1"}, `{"reference":"album/1"}`},
		{engine.Mark{Of: engine.MarkRefeed, TargetKcal: some(2600)}, `{"of":1,"target_kcal":2600}`},
		{engine.Mark{Of: engine.MarkMissedPeriod}, `{"of":8}`},
	} {
		text, err := EncodeFact(c.fact)
		if err != nil || text != c.text {
			t.Errorf("%+v is stored as %s (%v), want %s", c.fact, text, err, c.text)
		}
		fact, err := DecodeFact(c.fact.Kind(), []byte(c.text))
		if err != nil || fact != c.fact {
			t.Errorf("%s is read as %+v (%v), want %+v", c.text, fact, err, c.fact)
		}
	}
}
