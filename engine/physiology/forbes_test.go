package physiology

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/testdata/published"
)

func TestLambertW(t *testing.T) {
	rows := published.Read(t, "lambert-w.csv")
	for _, row := range rows {
		x, want := row.Num("x"), row.Num("w")
		if got := lambertW0(x); math.Abs(got-want) > 4e-16*want {
			t.Errorf("W(%v) = %.17g, want %.17g", x, got, want)
		}
	}
	if len(rows) != 16 {
		t.Errorf("%d values", len(rows))
	}
	// The definition, over the whole range in which exp(w) is finite.
	for w := 1e-12; w < 700; w *= 1.07 {
		if got := lambertW0(w * math.Exp(w)); math.Abs(got-w) > 1e-14*w {
			t.Errorf("W(w exp w) = %v for w = %v", got, w)
		}
	}
	if got := lambertW0(5e-324); got != 5e-324 {
		t.Errorf("W of the least number = %v", got)
	}
}

func TestForbesPublished(t *testing.T) {
	rows := published.Read(t, "forbes.csv")
	if len(rows) != 24 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, row := range rows {
		fat, change := row.Num("FM_initial_kg"), row.Num("dBW_kg")
		within(t, "lean share", ForbesLeanShare(fat), row.Num("ffm_fraction_infinitesimal"), 1e-6)
		c, ok := ForbesChange(fat, change)
		if !ok {
			t.Fatalf("no split of %v from %v", change, fat)
		}
		for name, v := range map[string][3]float64{
			"fat":         {c.FatKg, row.Num("dFM_kg"), 1e-6},
			"lean":        {c.LeanKg, row.Num("dFFM_kg"), 1e-6},
			"lean share":  {c.LeanKg / change, row.Num("ffm_fraction_macroscopic"), 1e-6},
			"density":     {c.KcalPerKg(), row.Num("energy_density_kcal_per_kg"), 1e-5},
			"energy part": {partitionKg / (partitionKg + fat), row.Num("energy_p_ratio"), 1e-6},
		} {
			if math.Abs(v[0]-v[1]) > v[2] {
				t.Errorf("%v kg from %v: %s = %v, want %v", change, fat, name, v[0], v[1])
			}
		}
	}
}

// A small change splits as the share says, and there and back again is nothing.
func TestForbesChangeIsTheCurve(t *testing.T) {
	for _, fat := range []float64{1.5, 8, 20, 60, 150} {
		small, ok := ForbesChange(fat, -1e-6)
		if share := ForbesLeanShare(fat).V; !ok || math.Abs(small.LeanKg/-1e-6-share) > 1e-5 {
			t.Errorf("from %v: %+v, share %v", fat, small, share)
		}
		up, ok1 := ForbesChange(fat, 7)
		down, ok2 := ForbesChange(fat+up.FatKg, -7)
		if !ok1 || !ok2 || up.FatKg <= 0 || up.LeanKg <= 0 || math.Abs(up.FatKg+down.FatKg) > 1e-9 || math.Abs(up.LeanKg+down.LeanKg) > 1e-9 {
			t.Errorf("from %v: up %+v, down %+v", fat, up, down)
		}
	}
}

func TestForbesDomain(t *testing.T) {
	for fat, known := range map[float64]bool{0.99: false, 1: true, 200: true, 200.1: false, math.Inf(1): false, -5: false} {
		_, ok := ForbesChange(fat, 1)
		if got := ForbesLeanShare(fat); got.OK != known || ok != known || !known && got != (engine.Opt{}) {
			t.Errorf("%v kg of fat: %v, %v", fat, got, ok)
		}
	}
	for _, c := range []struct {
		fat, change float64
		ok          bool
	}{
		{20, 0, false}, {20, math.NaN(), false}, {math.NaN(), -5, false}, {120, -100, true}, {120, -100.1, false}, {20, 100, true}, {20, 100.1, false},
		{200, 100, true},
		// From 8 kg of fat 1 kg is left after 7 kg of fat and 10.4 ln 8 = 21.626 kg of lean.
		{8, -28.62, true}, {8, -28.63, false},
	} {
		if got, ok := ForbesChange(c.fat, c.change); ok != c.ok || !ok && got != (MassChange{}) || ok && !isFinite(got.KcalPerKg()) {
			t.Errorf("%v kg from %v: %+v %v", c.change, c.fat, got, ok)
		}
	}
	if ForbesLeanShare(math.NaN()).OK {
		t.Error("a share of an unknown mass")
	}
}
