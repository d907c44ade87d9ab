package physiology

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/testdata/published"
)

func TestBMI(t *testing.T) {
	within(t, "85 kg at 1.80 m", BMI(85, 180), 26.234568, 5e-7) // 85/1.80^2, computed
	for _, c := range [][2]float64{{0, 180}, {29.9, 180}, {300.1, 180}, {85, 0}, {85, 1.8}, {85, 250.1}, {math.NaN(), 180}, {85, math.NaN()}} {
		if got := BMI(c[0], c[1]); got != (engine.Opt{}) {
			t.Errorf("BMI(%v, %v) = %v, want unknown", c[0], c[1], got)
		}
	}
}

func TestClassifyBMI(t *testing.T) {
	names := map[string]BMIClass{
		"severe thinness": SevereThinness, "moderate thinness": ModerateThinness, "mild thinness": MildThinness, "normal": NormalWeight,
		"pre-obese": PreObese, "obese class I": ObeseClassI, "obese class II": ObeseClassII, "obese class III": ObeseClassIII,
	}
	rows := published.Read(t, "bmi-classes.csv")
	if len(rows) != len(names) {
		t.Fatalf("%d rows for %d classes", len(rows), len(names))
	}
	for i, row := range rows {
		class, from := names[row.Text("class")], row.Num("from")
		if class == BMIClassUnknown {
			t.Fatalf("class %q", row.Text("class"))
		}
		if i > 0 { // the first class has no limit below it
			if got := ClassifyBMI(from); got != class {
				t.Errorf("%v is class %v, want %v", from, got, class)
			}
			below := names[rows[i-1].Text("class")]
			if got := ClassifyBMI(math.Nextafter(from, 0)); got != below {
				t.Errorf("just under %v is class %v, want %v", from, got, below)
			}
		}
		if class == NormalWeight && from != UnderweightBMI {
			t.Errorf("normal weight starts at %v, UnderweightBMI is %v", from, UnderweightBMI)
		}
	}
	for _, bad := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if got := ClassifyBMI(bad); got != BMIClassUnknown {
			t.Errorf("ClassifyBMI(%v) = %v", bad, got)
		}
	}
	if ClassifyBMI(9) != SevereThinness || ClassifyBMI(70) != ObeseClassIII {
		t.Error("the outer classes have no outer limit")
	}
}

func TestWalkingPublished(t *testing.T) {
	for _, row := range published.Read(t, "walking.csv") {
		perMinute := WalkNetKcalPerKgKm * row.Num("weight_kg") * row.Num("speed_m_per_min") / 1000
		if want := row.Num("net_kcal_per_min"); math.Abs(perMinute-want) > 1e-9 {
			t.Errorf("%v m/min: %v kcal/min, want %v", row.Num("speed_m_per_min"), perMinute, want)
		}
	}
}

func TestStepsAndMinutes(t *testing.T) {
	// By hand for 85 kg and 1.80 m (step 0.747 m, male): a km costs 42.5 kcal and
	// has 1338.688 steps; at 80 m/min it takes 12.5 min.
	within(t, "step of a man of 1.80 m", StepLengthM(engine.Male, 180), 0.747, 1e-12)
	within(t, "step of a woman of 65 in", StepLengthM(engine.Female, 165.1), 0.681863, 1e-9)
	within(t, "step, sex unknown", StepLengthM(engine.SexUnknown, 180), 0.7452, 1e-12)
	within(t, "steps of a km", StepsFor(42.5, 85, 180, engine.Male), 1338.688086, 1e-6)
	within(t, "steps of 125 kcal", StepsFor(125, 85, 180, engine.Male), 3937.317899, 1e-6)
	within(t, "minutes of a km", WalkMinutesFor(42.5, 85), 12.5, 1e-12)
	within(t, "no steps", StepsFor(0, 85, 180, engine.Male), 0, 0)
	within(t, "no minutes", WalkMinutesFor(0, 85), 0, 0)
	within(t, "the most", WalkMinutesFor(5000, 85), 5000/42.5*12.5, 1e-9)
}

func TestWalkingDomain(t *testing.T) {
	for _, c := range []struct{ kcal, kg, cm float64 }{
		{-1, 85, 180}, {5001, 85, 180}, {math.NaN(), 85, 180}, {100, 0, 180}, {100, 29.9, 180}, {100, 300.1, 180}, {100, math.NaN(), 180},
	} {
		if s, m := StepsFor(c.kcal, c.kg, c.cm, engine.Female), WalkMinutesFor(c.kcal, c.kg); s != (engine.Opt{}) || m != (engine.Opt{}) {
			t.Errorf("%+v: %v steps, %v minutes, want unknown", c, s, m)
		}
	}
	for _, cm := range []float64{0, 1.8, 99.9, 250.1, math.NaN()} {
		if s, l := StepsFor(100, 85, cm, engine.Female), StepLengthM(engine.Female, cm); s != (engine.Opt{}) || l != (engine.Opt{}) {
			t.Errorf("height %v: %v steps of %v m, want unknown", cm, s, l)
		}
	}
}
