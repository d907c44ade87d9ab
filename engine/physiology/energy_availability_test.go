package physiology

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/testdata/published"
)

func TestEnergyAvailability(t *testing.T) {
	rows := published.Read(t, "energy-availability.csv")
	for _, row := range rows {
		got := EnergyAvailability(DayBalance{IntakeKcal: row.Num("intake_kcal"), ExerciseKcal: row.Num("exercise_kcal"), FatFreeKg: row.Num("fat_free_kg")})
		within(t, row.Text("intake_kcal"), got, row.Num("kcal_per_kg"), 1e-6)
	}
	if len(rows) != 3 || LowEnergyAvailability != 30 {
		t.Errorf("%d rows, low at %v", len(rows), float64(LowEnergyAvailability))
	}
	within(t, "more exercise than food", EnergyAvailability(DayBalance{0, 660, 66}), -10, 1e-12)
	nan := math.NaN()
	for _, c := range []struct {
		d     DayBalance
		known bool
	}{
		{DayBalance{-1, 0, 60}, false}, {DayBalance{20_000, 0, 60}, true}, {DayBalance{20_001, 0, 60}, false},
		{DayBalance{2000, -1, 60}, false}, {DayBalance{2000, 10_000, 60}, true}, {DayBalance{2000, 10_001, 60}, false},
		{DayBalance{2000, 0, 19.9}, false}, {DayBalance{2000, 0, 20}, true}, {DayBalance{2000, 0, 150}, true}, {DayBalance{2000, 0, 150.1}, false},
		{DayBalance{nan, 0, 60}, false}, {DayBalance{2000, nan, 60}, false}, {DayBalance{2000, 0, nan}, false}, {DayBalance{}, false},
	} {
		if got := EnergyAvailability(c.d); got.OK != c.known || !c.known && got != (engine.Opt{}) {
			t.Errorf("%+v: %v", c.d, got)
		}
	}
}
