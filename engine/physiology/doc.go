// Package physiology holds published equations: resting and total energy, body
// mass index and body fat, energy densities and the Forbes curve, the cost of
// walking and running, energy availability, and the dynamic model of body
// weight. Each one names its formula, units, domain and source. Outside its
// domain the result is unknown.
//
// All of them describe groups. What one person spends differs from any of
// these values by a tenth and more, which is why the balance filter learns it
// from the log. Nothing here is medical advice.
package physiology

import "math"

// The ranges in which a body is computed with. They keep typing errors out
// (a height in metres or inches, a weight in stones) and are ours, not the papers'.
const (
	minWeightKg, maxWeightKg = 30, 300
	minHeightCm, maxHeightCm = 100, 250
	minAge, maxAge           = 18, 100
)

func isWeight(kg float64) bool { return kg >= minWeightKg && kg <= maxWeightKg }

func isHeight(cm float64) bool { return cm >= minHeightCm && cm <= maxHeightCm }

func isAge(years int) bool { return years >= minAge && years <= maxAge }

func isFinite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
