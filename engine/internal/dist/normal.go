// Package dist holds the two distributions that the engine needs, the normal
// and Student's t, each with its distribution function and quantile.
//
// A probability outside [0, 1], a NaN or fewer than one degree of freedom is a
// caller's programming error and panics.
package dist

import "math"

const (
	errProbability = "dist: probability outside 0..1"
	errDF          = "dist: fewer than one degree of freedom"
	errNaN         = "dist: argument is not a number"
)

// NormalCDF returns Phi(x), the probability that a standard normal variable is
// at most x. Its relative error stays near the machine's in the left tail.
func NormalCDF(x float64) float64 {
	if math.IsNaN(x) {
		panic(errNaN)
	}
	return 0.5 * math.Erfc(-x/math.Sqrt2)
}

// NormalQuantile returns the x with NormalCDF(x) == p: -Inf at 0, +Inf at 1. A
// positive p below 1e-300 counts as 1e-300 (x = -37.05).
//
// It solves ln Phi(x) = ln p by Newton's method. ln Phi is concave and
// Phi(-t) <= exp(-t^2/2)/2, so the start lies left of the solution and the
// steps approach it from that side without a bracket.
func NormalQuantile(p float64) float64 {
	checkProbability(p)
	switch {
	case p == 0:
		return math.Inf(-1)
	case p == 0.5:
		return 0
	case p > 0.5:
		return -NormalQuantile(1 - p)
	}
	p = max(p, 1e-300)
	x := -math.Sqrt(-2 * math.Log(2*p))
	for range maxNewton {
		phi := NormalCDF(x)
		density := math.Exp(-x*x/2) / math.Sqrt(2*math.Pi)
		step := math.Log(p/phi) * phi / density
		x += step
		if math.Abs(step) <= 1e-15*math.Abs(x) {
			break
		}
	}
	return x
}

// maxNewton bounds the iterations; about ten are ever used.
const maxNewton = 60

func checkProbability(p float64) {
	if !(p >= 0 && p <= 1) {
		panic(errProbability)
	}
}
