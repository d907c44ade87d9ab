package physiology

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/testdata/published"
)

func within(t *testing.T, what string, got engine.Opt, want, tol float64) {
	t.Helper()
	if !got.OK || !(math.Abs(got.V-want) <= tol) {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}

func sexOf(t *testing.T, word string) engine.Sex {
	t.Helper()
	sex, ok := map[string]engine.Sex{"male": engine.Male, "female": engine.Female}[word]
	if !ok {
		t.Fatalf("sex %q", word)
	}
	return sex
}

func TestRestingPublished(t *testing.T) {
	counted := map[string]int{}
	for _, row := range published.Read(t, "resting-energy.csv") {
		equation, want := row.Text("equation"), row.Num("kcal")
		counted[equation]++
		if equation == "cunningham" {
			within(t, "RestingCunningham", RestingCunningham(row.Num("ffm_kg")), want, 1e-9)
			continue
		}
		f := RestingMifflin
		if equation == "mifflin-original" {
			f = RestingMifflinOriginal
		}
		got := f(sexOf(t, row.Text("sex")), row.Num("weight_kg"), row.Num("height_cm"), row.Int("age"))
		within(t, equation, got, want, 1e-9)
	}
	if counted["mifflin"] != 5 || counted["mifflin-original"] != 4 || counted["cunningham"] != 3 {
		t.Errorf("compared %v", counted)
	}
}

func TestEnergyRequirementPublished(t *testing.T) {
	levels := map[string]engine.ActivityLevel{"sedentary": engine.Sedentary, "low_active": engine.LowActive, "active": engine.Active, "very_active": engine.VeryActive}
	rows := published.Read(t, "energy-requirement-2005.csv")
	if len(rows) != 48 {
		t.Fatalf("%d rows, the printed table has 48", len(rows))
	}
	for _, row := range rows {
		level, ok := levels[row.Text("activity")]
		if !ok {
			t.Fatalf("activity %q", row.Text("activity"))
		}
		h := row.Num("height_m")
		got := EnergyRequirement(sexOf(t, row.Text("sex")), 30, 100*h, row.Num("bmi")*h*h, level)
		within(t, row.Text("sex")+" "+row.Text("activity")+" "+row.Text("height_m"), got, row.Num("kcal"), 0.5)
	}
}

// The note under the printed table: for each year past 30 take off 10 kcal/d for men, 7 for women.
func TestEnergyRequirementPerYear(t *testing.T) {
	for sex, want := range map[engine.Sex]float64{engine.Male: 10, engine.Female: 7} {
		at := func(age int) float64 { return EnergyRequirement(sex, age, 175, 75, engine.Active).V }
		if got := at(30) - at(31); math.Abs(got-want) > 0.5 {
			t.Errorf("sex %v: a year takes off %v kcal, printed %v", sex, got, want)
		}
	}
}

// The domain of the equations: the value just inside is known, just outside unknown.
func TestDomains(t *testing.T) {
	type body struct {
		sex    engine.Sex
		kg, cm float64
		age    int
	}
	ok := body{engine.Female, 65, 168, 35}
	for name, c := range map[string]struct {
		change func(*body)
		known  bool
	}{
		"ordinary":         {func(*body) {}, true},
		"no sex":           {func(b *body) { b.sex = engine.SexUnknown }, false},
		"a sex of 3":       {func(b *body) { b.sex = 3 }, false},
		"17 years":         {func(b *body) { b.age = 17 }, false},
		"18 years":         {func(b *body) { b.age = 18 }, true},
		"100 years":        {func(b *body) { b.age = 100 }, true},
		"101 years":        {func(b *body) { b.age = 101 }, false},
		"29.9 kg":          {func(b *body) { b.kg = 29.9 }, false},
		"30 kg":            {func(b *body) { b.kg = 30 }, true},
		"300 kg":           {func(b *body) { b.kg = 300 }, true},
		"300.1 kg":         {func(b *body) { b.kg = 300.1 }, false},
		"99.9 cm":          {func(b *body) { b.cm = 99.9 }, false},
		"100 cm":           {func(b *body) { b.cm = 100 }, true},
		"250 cm":           {func(b *body) { b.cm = 250 }, true},
		"250.1 cm":         {func(b *body) { b.cm = 250.1 }, false},
		"height in metres": {func(b *body) { b.cm = 1.68 }, false},
		"weight unknown":   {func(b *body) { b.kg = math.NaN() }, false},
		"height unknown":   {func(b *body) { b.cm = math.NaN() }, false},
		"infinite":         {func(b *body) { b.kg = math.Inf(1) }, false},
	} {
		t.Run(name, func(t *testing.T) {
			b := ok
			c.change(&b)
			for equation, got := range map[string]engine.Opt{
				"RestingMifflin":         RestingMifflin(b.sex, b.kg, b.cm, b.age),
				"RestingMifflinOriginal": RestingMifflinOriginal(b.sex, b.kg, b.cm, b.age),
				"EnergyRequirement":      EnergyRequirement(b.sex, b.age, b.cm, b.kg, engine.Active),
			} {
				if got.OK != c.known || !c.known && got != (engine.Opt{}) {
					t.Errorf("%s = %v, want known %v", equation, got, c.known)
				}
			}
		})
	}
	for _, level := range []engine.ActivityLevel{engine.ActivityUnknown, engine.VeryActive + 1} {
		if got := EnergyRequirement(ok.sex, ok.age, ok.cm, ok.kg, level); got.OK {
			t.Errorf("activity level %v gives %v", level, got)
		}
	}
	for ffm, known := range map[float64]bool{19.9: false, 20: true, 150: true, 150.1: false} {
		if got := RestingCunningham(ffm); got.OK != known {
			t.Errorf("RestingCunningham(%v) = %v, want known %v", ffm, got, known)
		}
	}
	if got := RestingCunningham(math.NaN()); got.OK {
		t.Errorf("RestingCunningham(NaN) = %v", got)
	}
}

// 39.5, 7.6 and 17.6 MJ/kg (sources at the constants) in thermochemical kcal, to three decimals.
func TestDensities(t *testing.T) {
	for name, c := range map[string]struct{ got, want float64 }{
		"fat":      {FatKcalPerKg, 9440.727},
		"lean":     {LeanKcalPerKg, 1816.444},
		"glycogen": {GlycogenKcalPerKg, 4206.501},
	} {
		if math.Abs(c.got-c.want) > 5e-3 {
			t.Errorf("%s = %v, want %v", name, c.got, c.want)
		}
	}
}
