package trend

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
)

// A forecast is what the filter says after so many days without a reading, and
// a forecast of a forecast is one forecast.
func TestForecastIsAGap(t *testing.T) {
	y := []engine.Opt{engine.Some(80), {}, engine.Some(79.5), engine.Some(79.8)}
	long := append(append([]engine.Opt{}, y...), make([]engine.Opt, 40)...)
	level := LocalLevel{ReadingVar: 0.3, StepVar: 0.02}
	a, _ := level.Run(long)
	b, ok := llt.Run(long)
	if !ok {
		t.Fatal("no run")
	}
	for days := 0; days <= 40; days++ {
		if got, want := level.Forecast(a.Filtered[3], days), a.Filtered[3+days]; !closeRel(got.Mean, want.Mean, 1e-12) || !closeRel(got.Var, want.Var, 1e-12) || !got.OK {
			t.Errorf("%d days: %+v, filter %+v", days, got, want)
		}
		if got, want := llt.Forecast(b.Filtered[3], days), b.Filtered[3+days]; !sameTrend(got, want, 1e-11) {
			t.Errorf("%d days: %+v, filter %+v", days, got, want)
		}
		twice := llt.Forecast(llt.Forecast(b.Filtered[3], days/2), days-days/2)
		if !sameTrend(twice, llt.Forecast(b.Filtered[3], days), 1e-11) {
			t.Errorf("%d days in two goes: %+v", days, twice)
		}
	}
}

// With steps of variance 0 both models are least squares: the mean, and the
// line with its prediction error at a known residual variance.
func TestNoStepsIsLeastSquares(t *testing.T) {
	y := []engine.Opt{{}, engine.Some(80), {}, {}, engine.Some(79.5), engine.Some(79.9), {}, engine.Some(78.8), {}}
	var x, v []float64
	for i, o := range y {
		if o.OK {
			x, v = append(x, float64(i)), append(v, o.V)
		}
	}
	line := mustFit(t, x, v)
	r, ok := LocalLinearTrend{ReadingVar: 0.36}.Run(y)
	l, ok2 := LocalLevel{ReadingVar: 0.36}.Run(y)
	if !ok || !ok2 {
		t.Fatal("no run")
	}
	for i := range y {
		p := line.PredictAt(float64(i))
		scale := 0.36 / (line.ResidualSD.V * line.ResidualSD.V)
		s := r.Smoothed[i]
		if !closeRel(s.Level, p.Y, 1e-12) || !closeRel(s.Slope, line.Slope, 1e-10) ||
			!closeRel(s.LevelVar, p.MeanSE.V*p.MeanSE.V*scale, 1e-10) || !closeRel(s.SlopeVar, line.SlopeSE.V*line.SlopeSE.V*scale, 1e-10) {
			t.Errorf("day %d: %+v, line %+v", i, s, p)
		}
		if m := l.Smoothed[i]; !closeRel(m.Mean, (80+79.5+79.9+78.8)/4, 1e-12) || !closeRel(m.Var, 0.09, 1e-12) {
			t.Errorf("day %d: %+v", i, m)
		}
	}
}

// Nothing known is the limit of a start that says ever less, with gaps before
// the first reading and after it.
func TestDiffuseIsTheLimit(t *testing.T) {
	y := []engine.Opt{{}, {}, engine.Some(81), {}, {}, {}, engine.Some(80.2), engine.Some(80.5), {}, engine.Some(79.9)}
	exact, ok := llt.Run(y)
	if !ok {
		t.Fatal("no run")
	}
	vague, ok := llt.RunFrom(Trend{Level: 80, LevelVar: 1e8, SlopeVar: 1e8, OK: true}, y)
	if !ok {
		t.Fatal("no run")
	}
	for i := range y {
		if !sameTrend(exact.Smoothed[i], vague.Smoothed[i], 1e-6) {
			t.Errorf("day %d: %+v, vague start %+v", i, exact.Smoothed[i], vague.Smoothed[i])
		}
		if known := i >= 6; exact.Filtered[i].OK != known || !known && exact.Filtered[i] != (Trend{}) {
			t.Errorf("day %d: %+v, known %v", i, exact.Filtered[i], known)
		}
	}
	// Its likelihood lacks the two shares of log 1e8, and nothing else.
	if got, want := exact.LogLikelihood, vague.LogLikelihood+math.Log(1e8); math.Abs(got-want) > 1e-5 {
		t.Errorf("log-likelihood %v, limit %v", got, want)
	}
	level := LocalLevel{ReadingVar: 0.36, StepVar: 0.05}
	a, _ := level.Run(y)
	b, _ := level.RunFrom(Level{Var: 1e10, OK: true}, y)
	for i := range y {
		if !closeRel(a.Smoothed[i].Mean, b.Smoothed[i].Mean, 1e-8) || !closeRel(a.Smoothed[i].Var, b.Smoothed[i].Var, 1e-8) {
			t.Errorf("day %d: %+v, vague start %+v", i, a.Smoothed[i], b.Smoothed[i])
		}
		if known := i >= 2; a.Filtered[i].OK != known || !a.Smoothed[i].OK {
			t.Errorf("day %d: %+v", i, a.Filtered[i])
		}
	}
}

func TestLocalModelsDomain(t *testing.T) {
	y := []engine.Opt{engine.Some(80), engine.Some(81), {}}
	start, level := lltStart, Level{Mean: 80, Var: 1, OK: true}
	nan, inf := math.NaN(), math.Inf(1)
	for _, m := range []LocalLevel{{0, 1}, {-1, 1}, {1, -1}, {nan, 1}, {1, nan}, {inf, 1}, {1, inf}} {
		_, ok1 := m.Run(y)
		_, ok2 := m.RunFrom(level, y)
		if f := m.Forecast(level, 3); ok1 || ok2 || f != (Level{}) {
			t.Errorf("%+v runs", m)
		}
	}
	for _, m := range []LocalLinearTrend{{0, 1, 1}, {-1, 1, 1}, {1, -1, 1}, {1, 1, -1}, {nan, 1, 1}, {1, nan, 1}, {1, 1, nan}, {inf, 1, 1}} {
		_, ok1 := m.Run(y)
		_, ok2 := m.RunFrom(start, y)
		if f := m.Forecast(start, 3); ok1 || ok2 || f != (Trend{}) {
			t.Errorf("%+v runs", m)
		}
	}
	for name, y := range map[string][]engine.Opt{"no days": nil, "not a number": {engine.Some(80), engine.Some(nan), engine.Some(80)}, "infinite": {engine.Some(80), engine.Some(inf), engine.Some(80)}} {
		_, ok1 := nileModel.Run(y)
		_, ok2 := nileModel.RunFrom(level, y)
		_, ok3 := llt.Run(y)
		_, ok4 := llt.RunFrom(start, y)
		if ok1 || ok2 || ok3 || ok4 {
			t.Errorf("%s runs: %v %v %v %v", name, ok1, ok2, ok3, ok4)
		}
	}
	if _, ok := nileModel.Run(make([]engine.Opt, 5)); ok {
		t.Error("a level from no reading")
	}
	one, ok := LocalLevel{ReadingVar: 0.3, StepVar: 0.1}.Run([]engine.Opt{{}, engine.Some(80), {}})
	for i, want := range []float64{0.4, 0.3, 0.4} {
		if !ok || one.Smoothed[i].Mean != 80 || !closeRel(one.Smoothed[i].Var, want, 1e-12) {
			t.Errorf("a level from one reading: %+v %v", one, ok)
		}
	}
	if _, ok := llt.Run([]engine.Opt{{}, engine.Some(80), {}}); ok {
		t.Error("a trend from one reading")
	}
	two, ok := LocalLinearTrend{ReadingVar: 0.3}.Run([]engine.Opt{engine.Some(80), {}, engine.Some(79)})
	// Two readings two days apart: a slope of variance 2 0.3/4.
	want := Trend{Level: 79, Slope: -0.5, LevelVar: 0.3, SlopeVar: 0.15, Cov: 0.15, OK: true}
	if !ok || !sameTrend(two.Filtered[2], want, 1e-12) || two.Filtered[1].OK || !sameTrend(two.Smoothed[1], Trend{79.5, -0.5, 0.15, 0.15, 0, true}, 1e-12) {
		t.Errorf("a trend from two readings: %+v %v", two, ok)
	}
	if r, ok := nileModel.RunFrom(level, make([]engine.Opt, 3)); !ok || r.Filtered[2] != (Level{80, 1 + 2*1469.1, true}) || r.LogLikelihood != 0 {
		t.Errorf("a start alone: %+v %v", r, ok)
	}
	for _, l := range []Level{{80, 1, false}, {nan, 1, true}, {80, 0, true}, {80, -1, true}, {80, nan, true}, {80, inf, true}} {
		if _, ok := nileModel.RunFrom(l, y); ok {
			t.Errorf("starts from %+v", l)
		}
	}
	for name, change := range map[string]func(*Trend){
		"not OK": func(s *Trend) { s.OK = false }, "level": func(s *Trend) { s.Level = nan }, "slope": func(s *Trend) { s.Slope = inf },
		"level var 0": func(s *Trend) { s.LevelVar = 0 }, "slope var 0": func(s *Trend) { s.SlopeVar = 0 }, "negative": func(s *Trend) { s.LevelVar, s.SlopeVar = -1, -1 },
		"correlated fully": func(s *Trend) { s.Cov = 0.2 }, "beyond": func(s *Trend) { s.Cov = -0.3 }, "cov": func(s *Trend) { s.Cov = nan }, "var": func(s *Trend) { s.LevelVar = inf },
	} {
		s := start
		change(&s)
		if _, ok := llt.RunFrom(s, y); ok {
			t.Errorf("%s: starts from %+v", name, s)
		}
	}
	if nileModel.Forecast(Level{}, 3).OK || nileModel.Forecast(level, -1).OK || llt.Forecast(Trend{}, 3).OK || llt.Forecast(start, -1).OK {
		t.Error("a forecast of nothing, or into the past")
	}
}
