package rows

import (
	"testing"

	"example.com/steelyard/engine"
)

// The stored form of a plan's terms. What any version wrote must be read by every
// later one: add cases here, never change one.
func TestStoredPlan(t *testing.T) {
	full := engine.Plan{
		ID: "cut", State: engine.PlanClosed, Start: 100,
		GoalWeightKg: engine.Some(70), GoalBodyFatPct: engine.Some(15), Method: engine.PracticeTable, SkipMaintenanceTest: true,
		BandLowPctPerWeek: 0.5, BandHighPctPerWeek: 1, PacePctPerWeek: 0.75, FoodLever: true, ActivityLever: true,
		BaseActivityKcal: 125, ActivityCapKcal: 400, IntakeFloorKcal: engine.Some(1500), AllowRefeeds: true, WeekendExtraKcal: 200,
	}
	const text = `{"start":100,"goal_weight_kg":70,"goal_body_fat_pct":15,"method":1,"skip_maintenance_test":true,` +
		`"band_low_pct_per_week":0.5,"band_high_pct_per_week":1,"pace_pct_per_week":0.75,"food_lever":true,"activity_lever":true,` +
		`"base_activity_kcal":125,"activity_cap_kcal":400,"intake_floor_kcal":1500,"allow_refeeds":true,"weekend_extra_kcal":200}`
	if got, err := EncodePlan(full); err != nil || got != text {
		t.Errorf("stored as %s (%v), want %s", got, err, text)
	}
	if got, err := DecodePlan([]byte(text), "cut", engine.PlanClosed); err != nil || !samePlan(got, full) {
		t.Errorf("read as %+v (%v)", got, err)
	}
	// Before there was a choice, refeeds were allowed.
	old, err := DecodePlan([]byte(`{"start":100}`), "old", engine.PlanOpen)
	if err != nil || !samePlan(old, engine.Plan{ID: "old", Start: 100, AllowRefeeds: true}) {
		t.Errorf("read as %+v (%v)", old, err)
	}
	if _, err := DecodePlan([]byte(`7`), "x", 0); err == nil {
		t.Error("a number is a plan")
	}
}

// samePlan compares what is stored: decisions are not.
func samePlan(a, b engine.Plan) bool {
	x, errX := EncodePlan(a)
	y, errY := EncodePlan(b)
	return errX == nil && errY == nil && x == y && a.ID == b.ID && a.State == b.State && len(a.Decisions)+len(b.Decisions) == 0
}

func TestStoredProfile(t *testing.T) {
	full := engine.Profile{
		Sex: engine.Female, BirthDate: engine.SomeDay(-9000), HeightCm: engine.Some(171.5), Activity: engine.LowActive,
		MaintenanceGuessKcal: engine.Some(2150), Conditions: engine.KidneyDisease,
	}
	for _, p := range []engine.Profile{full, {}} {
		text, err := EncodeProfile(p)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := DecodeProfile([]byte(text)); err != nil || got != p {
			t.Errorf("%s is read as %+v (%v), want %+v", text, got, err, p)
		}
	}
	if text, err := EncodeProfile(engine.Profile{}); err != nil || text != "{}" {
		t.Errorf("nothing known is stored as %s, %v", text, err)
	}
}
