package physiology

import "math"

// lambertW0 returns the principal branch of Lambert's W at x >= 0, the w with
//
//	w exp(w) = x
//
// by five steps of Newton's method on w + ln w = ln x from ln(1+x), which do not
// overflow and reach the last digits at any x.
func lambertW0(x float64) float64 {
	if x == 0 {
		return 0
	}
	w := math.Log1p(x)
	for range 5 {
		w += (math.Log(x/w) - w) * w / (1 + w)
	}
	return w
}
