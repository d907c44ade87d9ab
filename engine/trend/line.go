// Package trend fits lines, robust lines and wandering levels to readings.
package trend

import (
	"math"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/internal/dist"
)

// Line is a straight line fitted by ordinary least squares,
//
//	y = Intercept + Slope x
//
// in the units of the data it was fitted to.
type Line struct {
	N         int
	Slope     float64
	Intercept float64

	SlopeSE     engine.Opt // standard errors and residual SD: unknown for two points
	InterceptSE engine.Opt
	ResidualSD  engine.Opt
	R2          engine.Opt // unknown when all y are equal

	meanX, sxx float64
}

const errLengths = "trend: x and y differ in length"

// Fit fits a line by ordinary least squares:
//
//	Slope = Sxy/Sxx, Intercept = mean y - Slope mean x
//	ResidualSD^2 = sum of squared residuals/(n-2)
//	SlopeSE = ResidualSD/sqrt(Sxx), InterceptSE = ResidualSD sqrt(1/n + (mean x)^2/Sxx)
//	R2 = 1 - sum of squared residuals/Syy
//
// The errors presume residuals that are independent with one variance. Those of
// daily body weight are not quite (their neighbours correlate), so intervals
// from it are too narrow for days in a row.
//
// It returns false when there is no line: fewer than two points, all x equal,
// or a number that is not finite. Two points have a line but no errors.
// It panics when x and y differ in length.
//
// Source: any textbook of regression; checked against NIST StRD "Norris".
func Fit(x, y []float64) (Line, bool) {
	if len(x) != len(y) {
		panic(errLengths)
	}
	n := float64(len(x))
	if len(x) < 2 {
		return Line{}, false
	}
	l := Line{N: len(x), meanX: mean(x)}
	meanY := mean(y)
	var sxy, syy float64
	for i := range x {
		dx, dy := x[i]-l.meanX, y[i]-meanY
		l.sxx += dx * dx
		sxy += dx * dy
		syy += dy * dy
	}
	l.Slope = sxy / l.sxx // not finite when all x are equal, nor is the intercept then: refused below
	l.Intercept = meanY - l.Slope*l.meanX
	var sse float64
	for i := range x {
		r := y[i] - meanY - l.Slope*(x[i]-l.meanX)
		sse += r * r
	}
	if !isFinite(l.Intercept) || !isFinite(sse) || !isFinite(syy) || !isFinite(l.sxx) {
		return Line{}, false
	}
	if syy > 0 {
		l.R2 = engine.Some(1 - sse/syy)
	}
	if len(x) > 2 {
		s := math.Sqrt(sse / (n - 2))
		l.ResidualSD = engine.Some(s)
		l.SlopeSE = engine.Some(s / math.Sqrt(l.sxx))
		l.InterceptSE = engine.Some(s * math.Sqrt(1/n+l.meanX*l.meanX/l.sxx))
	}
	return l, true
}

// SlopeInterval returns the two-sided Student t interval of the slope at a
// level between 0 and 1, for example 0.80, with N-2 degrees of freedom. It is
// false for two points and for a level that is not strictly between 0 and 1.
func (l Line) SlopeInterval(level float64) (low, high float64, ok bool) {
	upper := 0.5 + level/2 // 1 for a level that differs from 1 in its last bit only
	if !l.SlopeSE.OK || !(level > 0 && upper < 1) {
		return 0, 0, false
	}
	half := dist.StudentQuantile(upper, l.N-2) * l.SlopeSE.V
	return l.Slope - half, l.Slope + half, true
}

// Prediction is a line's value at one x.
type Prediction struct {
	Y         float64
	MeanSE    engine.Opt // of the line itself at x
	ReadingSE engine.Opt // of one new reading at x: the line's error and the scatter
}

// PredictAt returns the line's value at x:
//
//	MeanSE = ResidualSD sqrt(1/n + (x - mean x)^2/Sxx)
//	ReadingSE = ResidualSD sqrt(1 + 1/n + (x - mean x)^2/Sxx)
//
// Both are unknown for two points.
func (l Line) PredictAt(x float64) Prediction {
	p := Prediction{Y: l.Intercept + l.Slope*x}
	if l.ResidualSD.OK {
		d := x - l.meanX
		lever := 1/float64(l.N) + d*d/l.sxx
		p.MeanSE = engine.Some(l.ResidualSD.V * math.Sqrt(lever))
		p.ReadingSE = engine.Some(l.ResidualSD.V * math.Sqrt(1+lever))
	}
	return p
}

func mean(v []float64) float64 {
	var sum float64
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

func isFinite(v float64) bool { return v-v == 0 }
