package strength

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/testdata/published"
)

func TestFormulas(t *testing.T) {
	for _, row := range published.Read(t, "one-rep-max.csv") {
		load, reps := row.Num("load_kg"), row.Int("reps")
		for _, c := range []struct {
			name string
			got  engine.Opt
			want float64
		}{
			{"Epley", Epley(load, reps), row.Num("epley")},
			{"Brzycki", Brzycki(load, reps), row.Num("brzycki")},
			{"BestEstimate", BestEstimate(load, reps), row.Num("epley")},
		} {
			if !c.got.OK || math.Abs(c.got.V-c.want) > 5e-6 {
				t.Errorf("%s(%v, %d) = %v, want %v", c.name, load, reps, c.got, c.want)
			}
		}
	}
}

// The chart is another, independent statement of the same relation. The
// formulas lie within 2.5 points of it; at one repetition exactly on it.
func TestFormulasAgainstLoadChart(t *testing.T) {
	for _, row := range published.Read(t, "training-load-chart.csv") {
		reps, chart := row.Int("reps"), row.Num("pct_1rm")
		tol := 2.5
		if reps == 1 {
			tol = 0
		}
		for name, got := range map[string]engine.Opt{"Epley": Epley(100, reps), "Brzycki": Brzycki(100, reps)} {
			if pct := 100 * 100 / got.V; !got.OK || math.Abs(pct-chart) > tol {
				t.Errorf("%s: %d repetitions at %.1f %% of the maximum, chart %v", name, reps, pct, chart)
			}
		}
	}
}

func TestFormulasMeetAtTen(t *testing.T) {
	for reps := 2; reps <= 10; reps++ {
		e, b := Epley(120, reps).V, Brzycki(120, reps).V
		if reps == 10 && math.Abs(e-b) > 1e-9 || reps < 10 && e <= b {
			t.Errorf("%d repetitions: Epley %v, Brzycki %v", reps, e, b)
		}
	}
}

func TestSingleIsItself(t *testing.T) {
	for name, f := range map[string]func(float64, int) engine.Opt{"Epley": Epley, "Brzycki": Brzycki, "BestEstimate": BestEstimate} {
		if got := f(142.5, 1); got != engine.Some(142.5) {
			t.Errorf("%s: a single of 142.5 kg gives %v", name, got)
		}
	}
}

func TestOutsideDomain(t *testing.T) {
	for _, c := range []struct {
		load float64
		reps int
	}{
		{100, 0}, {100, -3}, {100, 11}, {100, 37}, {0, 5}, {-20, 5}, {0, 1},
		{math.NaN(), 5}, {math.Inf(1), 5}, {math.Inf(1), 1},
	} {
		for name, f := range map[string]func(float64, int) engine.Opt{"Epley": Epley, "Brzycki": Brzycki, "BestEstimate": BestEstimate} {
			if got := f(c.load, c.reps); got != (engine.Opt{}) {
				t.Errorf("%s(%v, %d) = %v, want unknown", name, c.load, c.reps, got)
			}
		}
	}
	if !BestEstimate(100, MaxReps).OK {
		t.Errorf("%d repetitions must have an estimate", MaxReps)
	}
}
