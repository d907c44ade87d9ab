package trend

import (
	"math"
	"slices"

	"example.com/steelyard/engine"
)

// HuberLine is a straight line in which far residuals count for less: nearly as
// sharp as least squares where the residuals are normal, and not carried off by
// a few wild readings. Readings whose x lies far from the others can still
// carry it off.
type HuberLine struct {
	N         int
	Slope     float64
	Intercept float64
	Scale     float64 // robust residual SD

	SlopeSE     engine.Opt // unknown for a scale of 0
	InterceptSE engine.Opt
}

const (
	// huberK scales up to which a residual counts in full: 95 % efficiency where
	// the residuals are normal. The usual default of other programs.
	huberK = 1.345
	// normalMAD is the median absolute deviation of a standard normal variable.
	normalMAD = 0.6744897501960817

	huberPoints    = 4
	huberRounds    = 500
	huberTolerance = 1e-12 // of the scale, by which the line may still move
)

// Huber fits the line that solves
//
//	sum of psi(r/s) (1, x) = 0, psi(u) = max(-1.345, min(1.345, u))
//	s = median |r| / 0.6745, r = y - Intercept - Slope x
//
// by iteratively reweighted least squares from the least-squares line, the
// scale s renewed in each round. Where half of the residuals are 0 the
// iteration stops at the line through them. The standard errors are those of
// form H1 of Huber's book, which presume independent residuals.
//
// It is false when there is no line, as for Fit, with fewer than four points,
// which say nothing of a scale, and when the iteration does not settle: one in
// some hundred lines through four to eight points, hardly ever through more. It
// panics when x and y differ in length.
//
// Source: Huber PJ, Robust Statistics, Wiley, 1981 (not read; as cited by the
// documentation of statsmodels); checked against its RLM and against rlm of the
// R package MASS.
func Huber(x, y []float64) (HuberLine, bool) { return huber(x, y, huberK) }

func huber(x, y []float64, k float64) (HuberLine, bool) {
	start, ok := Fit(x, y)
	if !ok || len(x) < huberPoints {
		return HuberLine{}, false
	}
	l := HuberLine{N: start.N, Slope: start.Slope, Intercept: start.Intercept}
	weights, work := make([]float64, l.N), make([]float64, l.N)
	least := exactShare * largest(y)
	for range huberRounds {
		l.Scale = l.scale(x, y, work)
		if l.Scale <= least {
			l.Scale = 0
			return l, true
		}
		for i := range x {
			weights[i] = min(1, k*l.Scale/math.Abs(y[i]-l.at(x[i])))
		}
		before := l
		l.Slope, l.Intercept = weightedLine(x, y, weights)
		for i := range x {
			work[i] = math.Abs(l.at(x[i]) - before.at(x[i]))
		}
		if slices.Max(work) <= huberTolerance*l.Scale+least/100 {
			l.setErrors(x, y, k, start)
			return l, true
		}
	}
	return HuberLine{}, false
}

// exactShare of the largest y is what rounding leaves, at most, of a residual of
// 0; a hundredth of it is what it leaves of one sum.
const exactShare = 1e-13

func (l HuberLine) at(x float64) float64 { return l.Intercept + l.Slope*x }

// scale returns median |r| / 0.6745, using work.
func (l HuberLine) scale(x, y, work []float64) float64 {
	for i := range x {
		work[i] = math.Abs(y[i] - l.at(x[i]))
	}
	return median(work) / normalMAD
}

// setErrors sets the standard errors: with u = r/s and m the share of |u| <= k,
//
//	K = 1 + (2/n) (1-m)/m
//	cov = K^2 s^2 sum of psi(u)^2 / (n-2) / m^2 (X'X)^-1
func (l *HuberLine) setErrors(x, y []float64, k float64, start Line) {
	n, inside, sum := float64(l.N), 0.0, 0.0
	for i := range x {
		u := math.Abs(y[i]-l.at(x[i])) / l.Scale
		if u <= k {
			inside++
		}
		sum += min(u, k) * min(u, k)
	}
	m := inside / n
	correction := 1 + 2/n*(1-m)/m
	sd := correction * l.Scale / m * math.Sqrt(sum/(n-2))
	l.SlopeSE = engine.Some(sd / math.Sqrt(start.sxx))
	l.InterceptSE = engine.Some(sd * math.Sqrt(1/n+start.meanX*start.meanX/start.sxx))
}

// weightedLine is the line of weighted least squares.
func weightedLine(x, y, w []float64) (slope, intercept float64) {
	var sum, meanX, meanY float64
	for i := range x {
		sum += w[i]
		meanX += w[i] * x[i]
		meanY += w[i] * y[i]
	}
	meanX, meanY = meanX/sum, meanY/sum
	var sxx, sxy float64
	for i := range x {
		dx := x[i] - meanX
		sxx += w[i] * dx * dx
		sxy += w[i] * dx * (y[i] - meanY)
	}
	slope = sxy / sxx
	return slope, meanY - slope*meanX
}

func largest(v []float64) float64 {
	var m float64
	for _, x := range v {
		m = max(m, math.Abs(x))
	}
	return m
}
