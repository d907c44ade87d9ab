package trend

import (
	"slices"

	"example.com/steelyard/engine"
)

// LastReadings returns the last n weights on or before a day, oldest first,
// with their day offsets from that day: 0 is upTo itself, -3 three days before.
// So a line through them has its intercept on upTo, in kg, and its slope in
// kg/d. Days in skip do not count. Where the window holds fewer than n, all of
// them are returned; how old the oldest may be is for the caller to judge.
func LastReadings(w engine.Window, upTo engine.Day, n int, skip ...engine.Day) (offsetDays, kg []float64) {
	room := max(min(n, len(w.Days)), 0)
	offsetDays, kg = make([]float64, 0, room), make([]float64, 0, room)
	for d := min(upTo, w.End()-1); d >= w.First && len(kg) < n; d-- {
		if r := w.Days[d-w.First].WeightKg; r.OK && !slices.Contains(skip, d) {
			offsetDays = append(offsetDays, float64(d-upTo))
			kg = append(kg, r.V)
		}
	}
	slices.Reverse(offsetDays)
	slices.Reverse(kg)
	return offsetDays, kg
}
