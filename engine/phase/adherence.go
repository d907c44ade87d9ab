package phase

import (
	"math"

	"example.com/steelyard/engine"
)

// Eating more than the target counts when it is plain beyond the days' own
// scatter: our thresholds, common practice, no source.
const (
	overDays   = 14   // how far back to look, not beyond the last change of the target
	overLeastN = 5    // logged days
	overLeast  = 0.05 // of the target
	overErrors = 2    // standard errors of the mean
)

// overTarget returns how far the mean of the logged days lies over the target,
// in kcal/d, and whether that is beyond the noise. Refeeds do not count.
func (f *facts) overTarget() (kcal float64, days int, isOver bool) {
	if f.current == nil || f.current.IntakeKcal <= 0 {
		return 0, 0, false
	}
	from := max(f.targetChange(), f.asOf-overDays)
	var sum, squares float64
	for d := from; d < f.asOf; d++ {
		row := f.window.At(d)
		if !row.IntakeKcal.OK || row.Marks.Has(engine.MarkRefeed) {
			continue
		}
		off := row.IntakeKcal.V/f.current.IntakeKcal - 1
		sum += off
		squares += off * off
		days++
	}
	if days < overLeastN {
		return 0, days, false
	}
	n := float64(days)
	mean := sum / n
	se := math.Sqrt(max(squares-n*mean*mean, 0) / (n - 1) / n)
	return mean * f.current.IntakeKcal, days, mean >= overLeast && mean > overErrors*se
}

// targetChange is the day from which the present target holds.
func (f *facts) targetChange() engine.Day {
	from := f.plan.Start
	for i, d := range f.plan.Decisions {
		if i == 0 || d.Target != f.plan.Decisions[i-1].Target {
			from = d.From
		}
	}
	return from
}
