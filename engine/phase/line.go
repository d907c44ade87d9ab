package phase

import (
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/trend"
)

// lossLine is a least-squares line through readings, told as a loss.
type lossLine struct {
	n          int        // readings
	pctPerWeek float64    // % of their mean weight a week, positive = losing
	se         engine.Opt // standard error; unknown for two readings

	fit      trend.Line
	perKgDay float64 // what one kg a day is in % a week
}

// atLeast is the lower end of the loss's interval at a level; unknown for two
// readings.
func (l lossLine) atLeast(level float64) engine.Opt {
	_, fall, ok := l.fit.SlopeInterval(level)
	return engine.Opt{V: -fall * l.perKgDay, OK: ok}
}

// lossLine fits the last n readings from a day through asOf of those that keep
// keeps. It is false where there is no line.
func (f *facts) lossLine(from engine.Day, n int, keep func(engine.Day) bool) (lossLine, bool) {
	var skip []engine.Day
	for d := from; d <= f.asOf; d++ {
		if f.row(d).WeightKg.OK && !keep(d) {
			skip = append(skip, d)
		}
	}
	days := engine.Window{First: f.window.First, Days: f.window.Days} // the readings alone
	x, y := trend.LastReadings(days.Between(from, f.asOf+1), f.asOf, n, skip...)
	fit, ok := trend.Fit(x, y)
	if !ok {
		return lossLine{}, false
	}
	var sum float64
	for _, kg := range y {
		sum += kg
	}
	perKgDay := 700 / (sum / float64(len(y)))
	l := lossLine{n: fit.N, pctPerWeek: 0 - fit.Slope*perKgDay, fit: fit, perKgDay: perKgDay}
	if fit.SlopeSE.OK {
		l.se = engine.Some(fit.SlopeSE.V * perKgDay)
	}
	return l, true
}
