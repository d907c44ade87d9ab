package cohort

import (
	"math"
	"slices"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/physiology"
)

// floorKcal is the least intake that may be prescribed, worked out apart from
// the engine's own rule so that it can be held against it: 1200 kcal/d for
// women and 1500 for men, or 0.95 of resting energy where that is more; not
// over 0.9 of maintenance; never under 800. Sources: as in engine/phase.
func (l *life) floorKcal(maintenanceKcal float64) float64 {
	least := 1200.0
	if l.profile.Sex == engine.Male {
		least = 1500
	}
	if kg := l.recentWeight(); kg.OK {
		resting := physiology.RestingMifflin(l.profile.Sex, kg.V, l.heightCm, l.ageYears)
		least = max(least, 0.95*resting.Or(0))
	}
	return max(min(least, 0.9*maintenanceKcal), 800)
}

// recentWeight is the median of the last three readings that a person can have.
func (l *life) recentWeight() engine.Opt {
	var kg []float64
	for _, d := range slices.Backward(l.window.Days) {
		if w := d.WeightKg; w.OK && w.V >= 30 && w.V <= 200 && len(kg) < 3 {
			kg = append(kg, w.V)
		}
	}
	if len(kg) == 0 {
		return engine.Opt{}
	}
	slices.Sort(kg)
	return engine.Some((kg[(len(kg)-1)/2] + kg[len(kg)/2]) / 2)
}

// toFive rounds a prescription.
func toFive(kcal float64) float64 { return 5 * math.Round(kcal/5) }
