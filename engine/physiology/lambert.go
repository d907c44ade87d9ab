package physiology

import "math"

// lambertW0 returns the principal branch of Lambert's W at x >= 0, the w with
//
//	w exp(w) = x
//
// by Newton's method on w + ln w = ln x, which does not overflow. ln w is
// concave, so that the steps approach the solution from the left, whatever the
// start; a start of ln(1+x) lies to the right of it and the first step crosses
// over. About six steps are ever used.
func lambertW0(x float64) float64 {
	if x == 0 {
		return 0
	}
	w := math.Log1p(x)
	for range 50 {
		step := (math.Log(x/w) - w) * w / (1 + w)
		w += step
		if math.Abs(step) <= 1e-16*w {
			break
		}
	}
	return w
}
