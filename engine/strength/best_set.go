package strength

import "example.com/steelyard/engine"

// BestSet returns the set of a session that speaks for the most strength, with
// its BestEstimate in kg: of several alike the first. The sets are those of one
// lift on one day. The estimate is unknown when no set has one: no load, or
// repetitions outside 1..MaxReps.
func BestSet(sets []engine.LiftSet) (best engine.LiftSet, e1RM engine.Opt) {
	for _, s := range sets {
		kg := s.Load.Kg()
		if !kg.OK {
			continue
		}
		if e := BestEstimate(kg.V, s.Reps); e.OK && (!e1RM.OK || e.V > e1RM.V) {
			best, e1RM = s, e
		}
	}
	return best, e1RM
}
