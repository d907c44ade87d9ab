package phase

import (
	"fmt"

	"example.com/steelyard/engine"
)

// floorSlackKcal is how far the present target may lie under the floor before
// it is raised: the floor moves a little as weight and the estimate do. Our
// own, no source.
const floorSlackKcal = 50

// targetUnderFloor raises a target that lies under the floor, whoever chose
// it, without waiting for a review.
func targetUnderFloor(f *facts) (verdict, bool) {
	if f.current == nil || !f.floorKcal.OK || f.current.IntakeKcal >= f.floorKcal.V-floorSlackKcal {
		return verdict{}, false
	}
	raised := f.target(f.floorKcal.V, f.current.ActivityKcal)
	return verdict{
		action: engine.RaiseBalance,
		headline: fmt.Sprintf("The present target of %.0f kcal a day is under the floor of %.0f: raise it to %.0f.",
			f.current.IntakeKcal, f.floorKcal.V, raised.IntakeKcal),
		findings: []Finding{{
			Code: CodeTargetUnderFloor, Severity: Warning,
			Sentence: "The present intake target is lower than is ever proposed.",
			Numbers:  []Number{{"target_kcal", f.current.IntakeKcal, "kcal/d"}, {"floor_kcal", f.floorKcal.V, "kcal/d"}},
		}},
		proposed: &raised,
	}, true
}
