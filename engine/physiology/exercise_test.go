package physiology

import (
	"math"
	"testing"

	"example.com/steelyard/testdata/published"
)

func TestExercisePublished(t *testing.T) {
	rows := published.Read(t, "exercise.csv")
	for _, row := range rows {
		f := map[string]func(Pace, float64) (Burn, bool){"walk": WalkBurn, "run": RunBurn}[row.Text("exercise")]
		got, ok := f(Pace{SpeedMPerMin: row.Num("speed_m_per_min"), Grade: row.Num("grade")}, row.Num("weight_kg"))
		tol := 1e-9
		if row.Text("kind") == "example" {
			tol = 0.005 // printed to two decimals
		}
		if !ok || math.Abs(got.OxygenMLPerKgMin-row.Num("oxygen_ml_per_kg_min")) > tol {
			t.Errorf("%+v: %+v %v", row, got, ok)
		}
		if row.Text("gross_kcal_per_min") == "" {
			continue
		}
		if math.Abs(got.GrossKcalPerMin-row.Num("gross_kcal_per_min")) > tol || math.Abs(got.NetKcalPerMin-row.Num("net_kcal_per_min")) > tol {
			t.Errorf("%+v: %+v", row, got)
		}
	}
	if len(rows) != 8 {
		t.Errorf("%d rows", len(rows))
	}
}

// Worked examples printed in lecture notes: running at 8 METs is 122.5 m/min by
// the level equation (a speed at which the equation is not held to be valid),
// and 10 METs at 68 kg cost 11.9 kcal/min.
func TestExercisePrintedExamples(t *testing.T) {
	b, ok := burn(Pace{SpeedMPerMin: 122.5}, 70, 0.2, 0.9)
	if !ok || math.Abs(b.OxygenMLPerKgMin-8*3.5) > 1e-9 {
		t.Errorf("122.5 m/min: %+v %v", b, ok)
	}
	if got := oxygenKcalPerMin(10*3.5, 68); math.Abs(got-11.9) > 1e-9 {
		t.Errorf("10 METs at 68 kg: %v kcal/min", got)
	}
}

// Level walking costs the same net energy a kg and km at any speed, the one
// that steps and minutes are told by.
func TestWalkBurnAgreesWithWalking(t *testing.T) {
	for _, speed := range []float64{50, 80, 100} {
		b, ok := WalkBurn(Pace{SpeedMPerMin: speed}, 85)
		if perKgKm := b.NetKcalPerMin / 85 / (speed / 1000); !ok || math.Abs(perKgKm-WalkNetKcalPerKgKm) > 1e-12 {
			t.Errorf("%v m/min: %v kcal/kg/km", speed, perKgKm)
		}
	}
}

func TestExerciseDomain(t *testing.T) {
	for _, c := range []struct {
		speed, grade, kg float64
		walks, runs      bool
	}{
		{49.9, 0, 70, false, false}, {50, 0, 70, true, false}, {100, 0, 70, true, false}, {100.1, 0, 70, false, false},
		{134, 0, 70, false, false}, {134.1, 0, 70, false, true}, {400, 0, 70, false, true}, {400.1, 0, 70, false, false},
		{80, -0.01, 70, false, false}, {80, 0.30, 70, true, false}, {80, 0.301, 70, false, false}, {200, 0.301, 70, false, false}, {200, 0.3, 70, false, true},
		{80, 0, 29.9, false, false}, {80, 0, 300, true, false}, {200, 0, 300.1, false, false},
		{math.NaN(), 0, 70, false, false}, {80, math.NaN(), 70, false, false}, {200, 0, math.NaN(), false, false}, {math.Inf(1), 0, 70, false, false},
	} {
		w, walks := WalkBurn(Pace{c.speed, c.grade}, c.kg)
		r, runs := RunBurn(Pace{c.speed, c.grade}, c.kg)
		if walks != c.walks || runs != c.runs || !walks && w != (Burn{}) || !runs && r != (Burn{}) {
			t.Errorf("%+v: %+v %v, %+v %v", c, w, walks, r, runs)
		}
	}
}
