package physiology

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
)

func day(t *testing.T, iso string) engine.Day {
	t.Helper()
	d, err := engine.ParseDay(iso)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestMaintenanceGuess(t *testing.T) {
	on := day(t, "2026-03-01")
	known := engine.Profile{
		Sex: engine.Male, BirthDate: engine.SomeDay(day(t, "1996-03-01")), HeightCm: engine.Some(180), Activity: engine.Active,
	}
	// 1.80 m at a BMI of 24.99, 30 years: 3200 active and 2884 low active as
	// printed in the table of energy-requirement-2005.csv.
	const kg = 24.99 * 1.8 * 1.8
	for name, c := range map[string]struct {
		change func(*engine.Profile)
		kg     float64
		kcal   float64
		sd     float64 // share of the guess
		basis  GuessBasis
	}{
		"own estimate first":            {func(p *engine.Profile) { p.MaintenanceGuessKcal = engine.Some(2750) }, kg, 2750, 0.12, GuessOwn},
		"own estimate without a weight": {func(p *engine.Profile) { p.MaintenanceGuessKcal = engine.Some(2750) }, math.NaN(), 2750, 0.12, GuessOwn},
		"own estimate at the low end":   {func(p *engine.Profile) { p.MaintenanceGuessKcal = engine.Some(800) }, kg, 800, 0.12, GuessOwn},
		"own estimate at the high end":  {func(p *engine.Profile) { p.MaintenanceGuessKcal = engine.Some(8000) }, kg, 8000, 0.12, GuessOwn},
		"own estimate absurdly low":     {func(p *engine.Profile) { p.MaintenanceGuessKcal = engine.Some(799) }, kg, 3200, 0.12, GuessEquation},
		"own estimate in kilojoules":    {func(p *engine.Profile) { p.MaintenanceGuessKcal = engine.Some(11_500) }, kg, 3200, 0.12, GuessEquation},
		"own estimate not a number":     {func(p *engine.Profile) { p.MaintenanceGuessKcal = engine.Some(math.NaN()) }, kg, 3200, 0.12, GuessEquation},
		"equation":                      {func(*engine.Profile) {}, kg, 3200, 0.12, GuessEquation},
		"activity not known":            {func(p *engine.Profile) { p.Activity = engine.ActivityUnknown }, kg, 2884, 0.12, GuessEquationActivityAssumed},
		"sex not known":                 {func(p *engine.Profile) { p.Sex = engine.SexUnknown }, 80, 2480, 0.21, GuessWeightAlone},
		"birth date not known":          {func(p *engine.Profile) { p.BirthDate.OK = false }, 80, 2480, 0.21, GuessWeightAlone},
		"height not known":              {func(p *engine.Profile) { p.HeightCm = engine.Opt{V: 180} }, 80, 2480, 0.21, GuessWeightAlone},
		"height absurd":                 {func(p *engine.Profile) { p.HeightCm = engine.Some(1.8) }, 80, 2480, 0.21, GuessWeightAlone},
		"born today":                    {func(p *engine.Profile) { p.BirthDate = engine.SomeDay(on) }, 80, 2480, 0.21, GuessWeightAlone},
		"born tomorrow":                 {func(p *engine.Profile) { p.BirthDate = engine.SomeDay(on + 1) }, 80, 2480, 0.21, GuessWeightAlone},
		"nothing known":                 {func(p *engine.Profile) { *p = engine.Profile{} }, 80, 2480, 0.21, GuessWeightAlone},
	} {
		t.Run(name, func(t *testing.T) {
			p := known
			c.change(&p)
			g, ok := MaintenanceGuess(p, c.kg, on)
			if !ok || math.Abs(g.Kcal-c.kcal) > 0.5 || math.Abs(g.SDKcal-c.sd*g.Kcal) > 1e-9 || g.Basis != c.basis {
				t.Errorf("guess %+v %v, want %v kcal, SD share %v, basis %v", g, ok, c.kcal, c.sd, c.basis)
			}
		})
	}
	for _, bad := range []float64{0, -80, 29.9, 300.1, math.NaN(), math.Inf(1)} {
		if g, ok := MaintenanceGuess(engine.Profile{}, bad, on); ok || g != (Guess{}) {
			t.Errorf("a weight of %v gives %+v", bad, g)
		}
	}
}

// The age is that of the day: the guess falls by 9.53 kcal on the birthday and not before.
func TestMaintenanceGuessAgeOnDay(t *testing.T) {
	p := engine.Profile{Sex: engine.Male, BirthDate: engine.SomeDay(day(t, "1996-03-01")), HeightCm: engine.Some(180), Activity: engine.Sedentary}
	at := func(iso string) float64 {
		g, ok := MaintenanceGuess(p, 85, day(t, iso))
		if !ok || g.Basis != GuessEquation {
			t.Fatalf("%s: %+v %v", iso, g, ok)
		}
		return g.Kcal
	}
	if before, eve := at("2025-06-01"), at("2026-02-28"); before != eve {
		t.Errorf("%v in June, %v on the eve of the birthday", before, eve)
	}
	if fall := at("2026-02-28") - at("2026-03-01"); math.Abs(fall-9.53) > 1e-9 {
		t.Errorf("the birthday takes off %v kcal", fall)
	}
}

// The SD of the weight-only guess rests on how far the equation lies from it.
func TestWeightAloneSD(t *testing.T) {
	var squares float64
	n := 0
	for sex, cm := range map[engine.Sex]float64{engine.Female: 166, engine.Male: 180} {
		for level := engine.Sedentary; level <= engine.Active; level++ {
			for age := 20; age <= 60; age += 10 {
				for _, bmi := range []float64{20, 23, 26, 30, 35} {
					kg := bmi * cm * cm / 1e4
					g, ok := MaintenanceGuess(engine.Profile{}, kg, 0)
					need := EnergyRequirement(sex, age, cm, kg, level)
					if !ok || !need.OK {
						t.Fatalf("%v kg: %+v, %v", kg, g, need)
					}
					squares += math.Pow(need.V/g.Kcal-1, 2)
					n++
				}
			}
		}
	}
	if rms := math.Sqrt(squares / float64(n)); math.Abs(rms-0.17) > 0.005 {
		t.Errorf("the equation lies %.3f from the guess, not 0.17", rms)
	}
	if math.Abs(fallbackSD-math.Hypot(0.17, guessSD)) > 0.005 {
		t.Errorf("an SD of %v is not 0.17 and %v together", fallbackSD, guessSD)
	}
}
