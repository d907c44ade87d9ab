package trend

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/testdata/published"
)

// number reads a cell that may be empty.
func number(row published.Row, column string) engine.Opt {
	if row.Text(column) == "" {
		return engine.Opt{}
	}
	return engine.Some(row.Num(column))
}

var nileModel = LocalLevel{ReadingVar: 15099, StepVar: 1469.1}

func nile(t *testing.T) (y, withGaps []engine.Opt, rows []published.Row) {
	rows = published.Read(t, "nile.csv")
	for i, row := range rows {
		flow := engine.Some(row.Num("flow"))
		y = append(y, flow)
		if i >= 20 && i < 40 || i >= 60 && i < 80 {
			flow = engine.Opt{}
		}
		withGaps = append(withGaps, flow)
	}
	if len(rows) != 100 {
		t.Fatalf("%d years", len(rows))
	}
	return y, withGaps, rows
}

func mustLevel(t *testing.T, r LevelRun, ok bool) LevelRun {
	t.Helper()
	if !ok {
		t.Fatal("no run")
	}
	return r
}

func TestLocalLevelNile(t *testing.T) {
	full, gaps, rows := nile(t)
	for suffix, y := range map[string][]engine.Opt{"": full, "_gap": gaps} {
		r, ok := nileModel.Run(y)
		mustLevel(t, r, ok)
		for i, row := range rows {
			for name, got := range map[string]float64{
				"filt_level": r.Filtered[i].Mean, "filt_var": r.Filtered[i].Var,
				"smooth_level": r.Smoothed[i].Mean, "smooth_var": r.Smoothed[i].Var,
			} {
				if want := row.Num(name + suffix); !closeRel(got, want, 1e-9) && math.Abs(got-want) > 1e-6 {
					t.Errorf("%s %s%s = %v, want %v", row.Text("year"), name, suffix, got, want)
				}
			}
			if !r.Filtered[i].OK || !r.Smoothed[i].OK {
				t.Errorf("%s is not known", row.Text("year"))
			}
		}
	}
}

func TestLocalLevelLikelihood(t *testing.T) {
	y, _, _ := nile(t)
	start := Level{Mean: 0, Var: 1e7, OK: true}
	diffuse, ok := nileModel.Run(y)
	mustLevel(t, diffuse, ok)
	proper, ok := nileModel.RunFrom(start, y)
	mustLevel(t, proper, ok)
	got := map[string]float64{"diffuse": diffuse.LogLikelihood, "proper": proper.LogLikelihood}
	rows := published.Read(t, "nile-likelihood.csv")
	for _, row := range rows {
		if g, ok := got[row.Text("start")]; !ok || math.Abs(g-row.Num("log_likelihood")) > 1e-8 {
			t.Errorf("%s: %v, want %v", row.Text("start"), g, row.Text("log_likelihood"))
		}
	}
	if len(rows) != len(got) {
		t.Errorf("%d rows", len(rows))
	}
	// The two starts part only at the beginning: P1 is 1e7, not boundless.
	if a, b := proper.Filtered[0].Mean, 1120*1e7/(1e7+15099); !closeRel(a, b, 1e-12) {
		t.Errorf("first filtered level %v, want %v", a, b)
	}
	if a, b := proper.Smoothed[99], diffuse.Smoothed[99]; !closeRel(a.Mean, b.Mean, 1e-9) || !closeRel(a.Var, b.Var, 1e-9) {
		t.Errorf("last level %+v and %+v", a, b)
	}
}

// The published variances are those of greatest likelihood.
func TestLocalLevelLikelihoodPeaks(t *testing.T) {
	y, _, _ := nile(t)
	at := func(readingVar, stepVar float64) float64 {
		r, ok := LocalLevel{readingVar, stepVar}.Run(y)
		return mustLevel(t, r, ok).LogLikelihood
	}
	top := at(15099, 1469.1)
	for _, f := range []float64{0.9, 1.1} {
		if at(15099*f, 1469.1) > top || at(15099, 1469.1*f) > top {
			t.Errorf("a likelihood over that of the published variances at %v of them", f)
		}
	}
}

// In the long run the gain is (-q + sqrt(q^2 + 4q))/2, q the variances' ratio.
func TestLocalLevelSteadyState(t *testing.T) {
	y := make([]engine.Opt, 200)
	for i := range y {
		y[i] = engine.Some(float64(i % 7))
	}
	r, ok := LocalLevel{ReadingVar: 0.36, StepVar: 0.01}.Run(y)
	mustLevel(t, r, ok)
	q := 0.01 / 0.36
	if gain, want := r.Filtered[199].Var/0.36, (-q+math.Sqrt(q*q+4*q))/2; !closeRel(gain, want, 1e-9) {
		t.Errorf("gain %v, want %v", gain, want)
	}
}
