package trend

import (
	"math"

	"example.com/steelyard/engine"
)

// LocalLevel is the local level model: a level that wanders and readings that
// scatter about it,
//
//	y(t) = level(t) + reading error,  level(t+1) = level(t) + step
//
// Source: Durbin J, Koopman SJ, Time Series Analysis by State Space Methods,
// 2001, chapter 2.
type LocalLevel struct {
	ReadingVar float64 // variance of a reading about the level; over 0
	StepVar    float64 // variance of the level's step from one day to the next; 0 or more
}

// Level is what is known of a level: its mean and variance. Nothing is when OK
// is false.
type Level struct {
	Mean, Var float64
	OK        bool
}

// LevelRun is the level on each day.
type LevelRun struct {
	Filtered []Level // from the readings of that day and before: not OK before the first, unless a start was given
	Smoothed []Level // from all readings
	// LogLikelihood of all readings, the constant -(n/2) log 2 pi with it. From
	// nothing known it is the exact diffuse one: the first reading adds only its
	// share of the constant.
	LogLikelihood float64
}

// Run filters and smooths one reading a day, oldest first, unknown on days
// without one. Nothing is known of the level before. It is false without a
// reading, for a known reading that is not finite and for variances outside
// their range.
func (m LocalLevel) Run(y []engine.Opt) (LevelRun, bool) {
	if countReadings(y) < 1 {
		return LevelRun{}, false
	}
	return m.run(Level{}, y)
}

// RunFrom is Run with a start: what is believed of the first day's level before
// its reading. It takes days without any reading too. It is false also for
// a start that is not OK or whose variance is not over 0.
func (m LocalLevel) RunFrom(start Level, y []engine.Opt) (LevelRun, bool) {
	if !start.OK || !isFinite(start.Mean) || !isVariance(start.Var) || start.Var == 0 || countReadings(y) < 0 {
		return LevelRun{}, false
	}
	return m.run(start, y)
}

func (m LocalLevel) run(l Level, y []engine.Opt) (LevelRun, bool) {
	if !m.isValid() || len(y) == 0 {
		return LevelRun{}, false
	}
	r := LevelRun{Filtered: make([]Level, len(y)), Smoothed: make([]Level, len(y))}
	predicted := make([]Level, len(y))
	for t, reading := range y {
		if t > 0 && l.OK {
			l.Var += m.StepVar
		}
		predicted[t] = l
		switch {
		case !reading.OK:
		case !l.OK:
			l = Level{Mean: reading.V, Var: m.ReadingVar, OK: true}
			r.LogLikelihood += logDensity(0, 1)
		default:
			innovation, f := reading.V-l.Mean, l.Var+m.ReadingVar
			r.LogLikelihood += logDensity(innovation, f)
			l.Mean += l.Var / f * innovation
			l.Var *= m.ReadingVar / f
		}
		r.Filtered[t] = l
	}
	for t := len(y) - 1; t >= 0; t-- {
		if t < len(y)-1 {
			l = m.back(l, predicted[t+1])
		}
		r.Smoothed[t] = l
	}
	return r, true
}

// back carries a smoothed level one day back, given what the filter had
// predicted for that day: with q the step's variance and w = q/predicted
// variance (0 where nothing was predicted),
//
//	mean' = mean - w (mean - predicted mean)
//	var'  = (1-w)^2 var + q (1-w)
func (m LocalLevel) back(l, predicted Level) Level {
	w := 0.0
	if predicted.OK {
		w = m.StepVar / predicted.Var
	}
	l.Mean -= w * (l.Mean - predicted.Mean)
	l.Var = (1-w)*(1-w)*l.Var + m.StepVar*(1-w)
	return l
}

// Forecast returns the level so many days after the one given: the same mean,
// the variance of a step more for each day. A reading then scatters by the
// reading's variance beside it. It is not OK for a level that is not and for
// days under 0.
func (m LocalLevel) Forecast(last Level, days int) Level {
	if !m.isValid() || !last.OK || days < 0 {
		return Level{}
	}
	last.Var += float64(days) * m.StepVar
	return last
}

func (m LocalLevel) isValid() bool {
	return isVariance(m.ReadingVar) && m.ReadingVar > 0 && isVariance(m.StepVar)
}

func isVariance(v float64) bool { return isFinite(v) && v >= 0 }

// countReadings counts the known readings; it is -1 when one is not finite.
func countReadings(y []engine.Opt) int {
	n := 0
	for _, r := range y {
		switch {
		case !r.OK:
		case !isFinite(r.V):
			return -1
		default:
			n++
		}
	}
	return n
}

// logDensity is the log of the normal density of variance v at a distance d
// from the mean.
func logDensity(d, v float64) float64 {
	return -0.5 * (math.Log(2*math.Pi*v) + d*d/v)
}
