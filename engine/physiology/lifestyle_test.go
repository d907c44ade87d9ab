package physiology

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/testdata/published"
)

func TestRestingRozaShizgal(t *testing.T) {
	rows := published.Read(t, "roza-shizgal.csv")
	for _, row := range rows {
		tol := 1e-9
		if row.Text("kind") == "example" {
			tol = 1 // rounded down as printed
		}
		got := RestingRozaShizgal(sexOf(t, row.Text("sex")), row.Num("weight_kg"), row.Num("height_cm"), row.Int("age"))
		within(t, row.Text("kind")+" "+row.Text("sex"), got, row.Num("kcal"), tol)
	}
	if len(rows) != 6 {
		t.Errorf("%d rows", len(rows))
	}
}

func TestBasalSchofield(t *testing.T) {
	rows := published.Read(t, "schofield.csv")
	for _, row := range rows {
		tol := 1e-9
		if row.Text("kind") == "example" {
			tol = 0.5 // printed to the kcal
		}
		got := BasalSchofield(sexOf(t, row.Text("sex")), row.Num("weight_kg"), row.Int("age"))
		within(t, row.Text("kind")+" "+row.Text("sex")+" "+row.Text("age"), got, row.Num("kcal"), tol)
	}
	if len(rows) != 11 {
		t.Errorf("%d rows", len(rows))
	}
}

func TestRequirementByPALPublished(t *testing.T) {
	bands := map[string]Lifestyle{"light": LightLifestyle, "moderate": ModerateLifestyle, "vigorous": VigorousLifestyle}
	rows := published.Read(t, "energy-requirement-2001.csv")
	for _, row := range rows {
		// The report multiplies in MJ and rounds on the way.
		got := RequirementByPAL(row.Num("basal_kcal"), row.Num("pal"))
		within(t, row.Text("lifestyle"), got, row.Num("kcal"), 2)
		if band := ClassifyPAL(row.Num("pal")); band != bands[row.Text("lifestyle")] || band == LifestyleUnknown {
			t.Errorf("%s: band %v", row.Text("pal"), band)
		}
	}
	if len(rows) != 2 {
		t.Errorf("%d rows", len(rows))
	}
	// The first example from its beginning: women of 20-30 years and 55 kg.
	within(t, "whole example", RequirementByPAL(BasalSchofield(engine.Female, 55, 25).V, 1.85), 2410, 2.5)

	rows = published.Read(t, "lifestyles.csv")
	for i, row := range rows {
		band, low, high := bands[row.Text("lifestyle")], row.Num("low"), row.Num("high")
		below := BelowLifestyles
		if i > 0 {
			below = bands[rows[i-1].Text("lifestyle")]
		}
		if ClassifyPAL(low) != band || ClassifyPAL(high) != band || ClassifyPAL(math.Nextafter(low, 0)) != below {
			t.Errorf("%s: %v, %v, below %v", row.Text("lifestyle"), ClassifyPAL(low), ClassifyPAL(high), ClassifyPAL(math.Nextafter(low, 0)))
		}
	}
	if len(rows) != 3 {
		t.Errorf("%d bands", len(rows))
	}
}

func TestLifestyleDomain(t *testing.T) {
	for pal, want := range map[float64]Lifestyle{
		0: LifestyleUnknown, 0.99: LifestyleUnknown, 1: BelowLifestyles, 2.40: VigorousLifestyle, 2.41: BeyondSustainable, 5: BeyondSustainable,
		math.Inf(1): LifestyleUnknown, -1.5: LifestyleUnknown,
	} {
		if got := ClassifyPAL(pal); got != want {
			t.Errorf("ClassifyPAL(%v) = %v, want %v", pal, got, want)
		}
	}
	if got := ClassifyPAL(math.NaN()); got != LifestyleUnknown {
		t.Errorf("ClassifyPAL(NaN) = %v", got)
	}
	for _, c := range []struct {
		kcal, pal float64
		known     bool
	}{
		{499, 1.5, false}, {500, 1.5, true}, {5000, 1.5, true}, {5001, 1.5, false}, {1500, 1.39, false}, {1500, 1.40, true}, {1500, 2.40, true}, {1500, 2.41, false},
		{math.NaN(), 1.5, false}, {1500, math.NaN(), false},
	} {
		if got := RequirementByPAL(c.kcal, c.pal); got.OK != c.known || !c.known && got != (engine.Opt{}) {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

func TestOtherRestingDomains(t *testing.T) {
	type body struct {
		sex    engine.Sex
		kg, cm float64
		age    int
	}
	for name, c := range map[string]struct {
		body
		roza, schofield bool
	}{
		"ordinary":       {body{engine.Female, 65, 168, 35}, true, true},
		"no sex":         {body{engine.SexUnknown, 65, 168, 35}, false, false},
		"a sex of 3":     {body{3, 65, 168, 35}, false, false},
		"17 years":       {body{engine.Male, 65, 168, 17}, false, false},
		"18 years":       {body{engine.Male, 65, 168, 18}, true, true},
		"100 years":      {body{engine.Male, 65, 168, 100}, true, true},
		"101 years":      {body{engine.Male, 65, 168, 101}, false, false},
		"29.9 kg":        {body{engine.Male, 29.9, 168, 35}, false, false},
		"300 kg":         {body{engine.Male, 300, 168, 35}, true, true},
		"300.1 kg":       {body{engine.Male, 300.1, 168, 35}, false, false},
		"height unknown": {body{engine.Female, 65, math.NaN(), 35}, false, true},
		"weight unknown": {body{engine.Female, math.NaN(), 168, 35}, false, false},
	} {
		r, s := RestingRozaShizgal(c.sex, c.kg, c.cm, c.age), BasalSchofield(c.sex, c.kg, c.age)
		if r.OK != c.roza || s.OK != c.schofield || !r.OK && r.V != 0 || !s.OK && s.V != 0 {
			t.Errorf("%s: %v %v", name, r, s)
		}
	}
}
