package phase

import (
	"fmt"
	"slices"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
)

const (
	milestonePct  = 2.5 // of the starting weight; common practice, no source
	milestoneDays = 7   // that a milestone is shown
)

// dueMilestones returns each full 2.5 % of the starting weight and the goal
// weight, by the median of the last three readings, for seven days from the one
// that reached it. Nothing beyond the goal is one, nor what was lost before. What
// was reached before the window is not told again; where the window begins after
// the plan, that is known from its third reading on.
func (f *facts) dueMilestones(firstKg []float64) []Due {
	if len(firstKg) < DueFirstReadings {
		return nil
	}
	startKg := medianOf3([3]float64(firstKg))
	if !balance.IsWeight(engine.Some(startKg)) {
		return nil
	}
	var due []Due
	reached, goal := 0, f.plan.GoalWeightKg
	isAtGoal := goal.OK && startKg <= goal.V
	isKnown := f.window.First <= f.plan.Start // nothing of the plan lies before the window
	var last [3]float64
	n := 0
	for d := max(f.plan.Start, f.window.First); d < f.window.End(); d++ {
		r := f.row(d).WeightKg
		if !balance.IsWeight(r) {
			continue
		}
		last[n%3] = r.V
		if n++; n < len(last) {
			continue
		}
		kg := medianOf3(last)
		step := int(100*(startKg-kg)/startKg/milestonePct + 1e-9) // a full step is not missed by a rounding error
		line := ""
		switch {
		case isAtGoal:
		case goal.OK && kg <= goal.V:
			isAtGoal = true
			line = "The goal weight is reached by the last three readings: time to be glad, and to talk about keeping it."
		case step > reached:
			line = fmt.Sprintf("%g %% of the starting weight is off by the last three readings: something to be glad about.", milestonePct*float64(step))
		}
		reached = max(reached, step)
		if line != "" && isKnown {
			due = append(due, Due{Reason: DueMilestone, From: d, Until: engine.SomeDay(d + milestoneDays - 1), Line: line})
		}
		isKnown = true
	}
	return due
}

func medianOf3(kg [3]float64) float64 {
	slices.Sort(kg[:])
	return kg[1]
}
