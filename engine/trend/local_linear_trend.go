package trend

import (
	"example.com/steelyard/engine"
)

// LocalLinearTrend is the local linear trend model: a level that wanders along
// a slope that wanders too, and readings that scatter about the level,
//
//	y(t) = level(t) + reading error
//	level(t+1) = level(t) + slope(t) + level step
//	slope(t+1) = slope(t) + slope step
//
// Both steps of variance 0 make it the least-squares line.
//
// Source: Harvey AC, Forecasting, Structural Time Series Models and the Kalman
// Filter, 1989; Durbin J, Koopman SJ, Time Series Analysis by State Space
// Methods, 2001, chapters 3 to 5.
type LocalLinearTrend struct {
	ReadingVar   float64 // variance of a reading about the level; over 0
	LevelStepVar float64 // 0 or more, a day
	SlopeStepVar float64 // 0 or more, a day
}

// Trend is what is known of a level and its slope a day: means, variances and
// covariance. Nothing is when OK is false.
type Trend struct {
	Level, Slope            float64
	LevelVar, SlopeVar, Cov float64
	OK                      bool
}

// TrendRun is the trend on each day.
type TrendRun struct {
	Filtered []Trend // from the readings of that day and before: not OK before the second, unless a start was given
	Smoothed []Trend // from all readings
	// LogLikelihood of all readings, the constant -(n/2) log 2 pi with it. From
	// nothing known it is the exact diffuse one of Durbin and Koopman.
	LogLikelihood float64
}

// Run filters and smooths one reading a day, oldest first, unknown on days
// without one. Nothing is known of level and slope before. It is false with
// fewer than two readings, for a known reading that is not finite and for
// variances outside their range.
func (m LocalLinearTrend) Run(y []engine.Opt) (TrendRun, bool) {
	if countReadings(y) < 2 {
		return TrendRun{}, false
	}
	return m.run(trendFilter{m: m}, y)
}

// RunFrom is Run with a start: what is believed of the first day before its
// reading. It takes days without any reading too. It is false also for a start
// that is not OK or whose covariance is not positive definite.
func (m LocalLinearTrend) RunFrom(start Trend, y []engine.Opt) (TrendRun, bool) {
	if !start.OK || !isFinite(start.Level) || !isFinite(start.Slope) || !start.isDefinite() || countReadings(y) < 0 {
		return TrendRun{}, false
	}
	return m.run(trendFilter{m: m, seen: 2, at: start}, y)
}

func (m LocalLinearTrend) run(f trendFilter, y []engine.Opt) (TrendRun, bool) {
	if !m.isValid() || len(y) == 0 {
		return TrendRun{}, false
	}
	r := TrendRun{Filtered: make([]Trend, len(y)), Smoothed: make([]Trend, len(y))}
	predicted := make([]trendFilter, len(y))
	for t, reading := range y {
		if t > 0 {
			f.advance()
		}
		predicted[t] = f
		if reading.OK {
			r.LogLikelihood += f.read(reading.V)
		}
		r.Filtered[t] = f.known()
	}
	s := f.known()
	for t := len(y) - 1; t >= 0; t-- {
		if t < len(y)-1 {
			s = predicted[t+1].back(s)
		}
		r.Smoothed[t] = s
	}
	return r, true
}

// Forecast returns the trend so many days h after the one given:
//
//	level + h slope, variance LevelVar + 2 h Cov + h^2 SlopeVar + h q + (h-1) h (2h-1)/6 z
//	slope, variance SlopeVar + h z; covariance Cov + h SlopeVar + h (h-1)/2 z
//
// with q and z the variances of the level's and the slope's step. A reading
// then scatters by the reading's variance beside the level's. It is not OK for
// a trend that is not and for days under 0.
func (m LocalLinearTrend) Forecast(last Trend, days int) Trend {
	if !m.isValid() || !last.OK || days < 0 {
		return Trend{}
	}
	h, z := float64(days), m.SlopeStepVar
	return Trend{
		Level:    last.Level + h*last.Slope,
		Slope:    last.Slope,
		LevelVar: last.LevelVar + 2*h*last.Cov + h*h*last.SlopeVar + h*m.LevelStepVar + (h-1)*h*(2*h-1)/6*z,
		SlopeVar: last.SlopeVar + h*z,
		Cov:      last.Cov + h*last.SlopeVar + h*(h-1)/2*z,
		OK:       true,
	}
}

func (m LocalLinearTrend) isValid() bool {
	return isVariance(m.ReadingVar) && m.ReadingVar > 0 && isVariance(m.LevelStepVar) && isVariance(m.SlopeStepVar)
}

func (s Trend) isDefinite() bool {
	det := s.LevelVar*s.SlopeVar - s.Cov*s.Cov
	return isVariance(s.LevelVar) && isVariance(s.SlopeVar) && isFinite(det) && det > 0
}

// trendFilter is the filter on one day. From nothing known, a first reading
// gives the level and a second the slope.
type trendFilter struct {
	m    LocalLinearTrend
	seen int   // readings, 2 for that or more; a given start counts as 2
	at   Trend // with seen 1: as if the slope were 0, which is then unknown
	// lever is how far, in days, the level moves with the unknown slope: the days
	// since the first reading. Only with seen 1.
	lever float64
}

func (f *trendFilter) known() Trend {
	if f.seen < 2 {
		return Trend{}
	}
	return f.at
}

// advance goes to the next day.
func (f *trendFilter) advance() {
	if f.seen == 0 {
		return
	}
	s := &f.at
	s.Level += s.Slope
	s.LevelVar += 2*s.Cov + s.SlopeVar + f.m.LevelStepVar
	s.Cov += s.SlopeVar
	s.SlopeVar += f.m.SlopeStepVar
	f.lever++
}

// read takes in the day's reading and returns what it adds to the
// log-likelihood.
func (f *trendFilter) read(y float64) float64 {
	s := &f.at
	switch f.seen {
	case 0:
		f.seen, f.lever = 1, 0
		*s = Trend{Level: y, LevelVar: f.m.ReadingVar}
		return logDensity(0, 1)
	case 1:
		// The slope is the reading's distance over the lever, level and reading
		// errors in it; the level is the reading.
		f.seen = 2
		s.Slope = (y - s.Level) / f.lever
		s.SlopeVar += ((s.LevelVar+f.m.ReadingVar)/f.lever - 2*s.Cov) / f.lever
		s.Level, s.LevelVar, s.Cov, s.OK = y, f.m.ReadingVar, f.m.ReadingVar/f.lever, true
		return logDensity(0, f.lever*f.lever)
	}
	innovation, v := y-s.Level, s.LevelVar+f.m.ReadingVar
	s.Level += s.LevelVar / v * innovation
	s.Slope += s.Cov / v * innovation
	s.SlopeVar -= s.Cov / v * s.Cov
	s.LevelVar *= f.m.ReadingVar / v
	s.Cov *= f.m.ReadingVar / v
	return logDensity(innovation, v)
}

// back carries a smoothed trend one day back, f being what the filter had
// predicted for its day. With Q the covariance of the steps, W the inverse of
// the predicted covariance, s the smoothed state and p the predicted one, each
// with its covariance S, P:
//
//	s' = T^-1 (s - Q W (s - p))
//	S' = T^-1 ((1 - Q W) S (1 - Q W)' + Q - Q W Q) T^-1'
//
// which is the smoother of Rauch, Tung and Striebel in a form that needs no
// finite predicted covariance.
func (f *trendFilter) back(s Trend) Trend {
	q, z := f.m.LevelStepVar, f.m.SlopeStepVar
	w11, w12, w22 := f.information()
	// 1 - Q W, by rows
	a, b, c, d := 1-q*w11, -q*w12, -z*w12, 1-z*w22
	dl, ds := s.Level-f.at.Level, s.Slope-f.at.Slope
	level := s.Level - q*(w11*dl+w12*ds)
	slope := s.Slope - z*(w12*dl+w22*ds)
	v := a*a*s.LevelVar + 2*a*b*s.Cov + b*b*s.SlopeVar + q*a
	u := c*c*s.LevelVar + 2*c*d*s.Cov + d*d*s.SlopeVar + z*d
	k := a*c*s.LevelVar + (a*d+b*c)*s.Cov + b*d*s.SlopeVar + z*b
	return Trend{Level: level - slope, Slope: slope, LevelVar: v - 2*k + u, SlopeVar: u, Cov: k - u, OK: true}
}

// information returns the inverse of the predicted covariance: 0 before the
// first reading, and in the limit of a boundless variance along (lever, 1)
// after it.
func (f *trendFilter) information() (w11, w12, w22 float64) {
	p := f.at
	switch f.seen {
	case 0:
		return 0, 0, 0
	case 1:
		v := p.LevelVar - 2*f.lever*p.Cov + f.lever*f.lever*p.SlopeVar
		return 1 / v, -f.lever / v, f.lever * f.lever / v
	}
	det := p.LevelVar*p.SlopeVar - p.Cov*p.Cov
	return p.SlopeVar / det, -p.Cov / det, p.LevelVar / det
}
