package balance

import "math"

// RefeedWater returns the 80 % range of the water, in kg, that a refeed of so
// many kcal over an ordinary day puts on the scale the next morning, before
// anything is known of the trainee: the water term's start, and the spread that
// the filter allows a refeed.
func RefeedWater(extraKcal float64) (low, high float64) {
	swing := (1 - swingCarry) * extraKcal / swingUnitKcal
	low, high = centralInterval(startSwing*swing, math.Hypot(startSwingSD*swing, refeedSD), 0.80)
	return max(low, 0), max(high, 0)
}
