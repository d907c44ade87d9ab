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

// As Newton's method below gives them, to the last bit.
const (
	quantile90  = 0x1.4813c36e26d33p+00 // 1.2815515655446006
	quantile975 = 0x1.f5c0331eeff84p+00 // 1.95996398454005405
)

// NormalQuantile returns the x with NormalCDF(x) == p: -Inf at 0, +Inf at 1. A
// positive p below 1e-300 counts as 1e-300 (x = -37.05).
//
// It solves ln Phi(x) = ln p by Newton's method. ln Phi is concave and
// Phi(-t) <= exp(-t^2/2)/2, so the start lies left of the solution and the
// steps approach it from that side without a bracket. What the central intervals
// of 80 and 95 % ask for, several times an answer, is written down.
func NormalQuantile(p float64) float64 {
	checkProbability(p)
	switch {
	case p == 0:
		return math.Inf(-1)
	case p == 0.5:
		return 0
	case p == 0.90:
		return quantile90
	case p == 0.975:
		return quantile975
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
