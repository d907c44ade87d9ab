package strength

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/testdata/published"
)

func set(kg float64, reps int) engine.LiftSet {
	return engine.LiftSet{Lift: "bench-press", Load: engine.Kg(kg), Reps: reps}
}

func TestBestSet(t *testing.T) {
	lb := engine.LiftSet{Lift: "bench-press", Load: engine.Mass{Value: 225, Unit: engine.Pound}, Reps: 5}
	for name, c := range map[string]struct {
		sets []engine.LiftSet
		best engine.LiftSet
		e1RM float64 // by Epley; 0 means unknown
	}{
		"nothing":                    {nil, engine.LiftSet{}, 0},
		"the only one":               {[]engine.LiftSet{set(100, 5)}, set(100, 5), 116.666667},
		"fewer kilograms, more reps": {[]engine.LiftSet{set(100, 3), set(95, 6), set(90, 7)}, set(95, 6), 114},
		"a single":                   {[]engine.LiftSet{set(100, 5), set(118, 1)}, set(118, 1), 118},
		"too many reps do not count": {[]engine.LiftSet{set(80, 11), set(60, 10)}, set(60, 10), 80},
		"only too many":              {[]engine.LiftSet{set(80, 11), set(80, 30)}, engine.LiftSet{}, 0},
		"body weight":                {[]engine.LiftSet{{Reps: 5}, set(20, 5)}, set(20, 5), 23.333333},
		"no load":                    {[]engine.LiftSet{set(0, 5), set(-10, 5), set(math.NaN(), 5)}, engine.LiftSet{}, 0},
		"units":                      {[]engine.LiftSet{set(100, 5), lb}, lb, 119.068},
		"the first of two alike":     {[]engine.LiftSet{{Lift: "a", Load: engine.Kg(100), Reps: 5}, {Lift: "b", Load: engine.Kg(100), Reps: 5}}, engine.LiftSet{Lift: "a", Load: engine.Kg(100), Reps: 5}, 116.666667},
	} {
		best, e1RM := BestSet(c.sets)
		if best != c.best || e1RM.OK != (c.e1RM != 0) || math.Abs(e1RM.V-c.e1RM) > 1e-4 {
			t.Errorf("%s: %+v %v, want %+v %v", name, best, e1RM, c.best, c.e1RM)
		}
	}
}

// A session of sets that the load chart holds to be equally hard gives much the
// same estimate from each, by either formula: within 2.5 % of the load's own.
func TestBestSetAgainstLoadChart(t *testing.T) {
	for _, row := range published.Read(t, "training-load-chart.csv") {
		load := 140 * row.Num("pct_1rm") / 100 // of a lifter whose maximum is 140 kg
		best, e1RM := BestSet([]engine.LiftSet{set(load, row.Int("reps"))})
		b := Brzycki(load, row.Int("reps"))
		if best.Reps != row.Int("reps") || math.Abs(e1RM.V-140) > 0.035*140 || math.Abs(b.V-140) > 0.035*140 {
			t.Errorf("%s repetitions with %.1f kg: Epley %.1f, Brzycki %.1f, chart 140", row.Text("reps"), load, e1RM.V, b.V)
		}
	}
}
