package rollup

import (
	"cmp"
	"slices"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/strength"
)

// hardReserve is the most repetitions in reserve of a set that counts as hard.
const hardReserve = 4

// lifted sums the sets of a day by lift. A set whose load has no valid unit, or
// none at all (body weight), still counts as a set; it has no estimate.
func lifted(day engine.Day, sets []engine.LiftSet) []engine.LiftDay {
	slices.SortStableFunc(sets, func(a, b engine.LiftSet) int { return cmp.Compare(a.Lift, b.Lift) })
	var out []engine.LiftDay
	for _, s := range sets {
		if len(out) == 0 || out[len(out)-1].Lift != s.Lift {
			out = append(out, engine.LiftDay{Day: day, Lift: s.Lift})
		}
		l := &out[len(out)-1]
		l.Sets++
		if !s.RepsInReserve.OK || s.RepsInReserve.V <= hardReserve {
			l.HardSets++
		}
		if kg := s.Load.Kg(); kg.OK {
			if e := strength.BestEstimate(kg.V, s.Reps); e.OK && (!l.BestE1RM.OK || e.V > l.BestE1RM.V) {
				l.BestE1RM = e
			}
		}
	}
	return out
}
