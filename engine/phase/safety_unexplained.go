package phase

import (
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
)

// Losing fast while eating at maintenance is unexplained when it is nearly
// sure to be over 1 % of body weight a week although at least 90 % of the
// guess was logged, on seven days of the test or more. By the filter, at that
// rate maintenance would lie a third over the guess, three of its standard
// deviations. A loss that is faster still the filter would refuse as typing
// errors, so the plain line through the readings is asked as well, the first
// days of water left out. Our own thresholds, common practice, no source.
const (
	unexplainedPctPerWeek = 1.0
	unexplainedP          = 0.90
	unexplainedShare      = 0.90
	unexplainedDays       = 7 // logged
	unexplainedReadings   = 7
	unexplainedLevel      = 0.98 // of the slope's interval: one in a hundred on each side
)

// unexplainedLoss refers a trainee who loses weight fast in the maintenance
// test without eating little.
func unexplainedLoss(f *facts) (Finding, bool) {
	if f.stage != MaintenanceTest || f.estimate == nil {
		return Finding{}, false
	}
	sum, n := 0.0, 0.0
	for d := f.plan.Start; d < f.asOf; d++ {
		if in := f.row(d).IntakeKcal; in.OK {
			sum += in.V
			n++
		}
	}
	if n < unexplainedDays || sum/n < unexplainedShare*f.guess.TrackedKcal() {
		return Finding{}, false
	}
	found := Finding{
		Code:     CodeUnexplainedLoss,
		Sentence: "Weight is falling fast although the intake is at the estimated maintenance, and nothing in the log explains it.",
		Numbers:  []Number{{"mean_logged_kcal", sum / n, "kcal/d"}},
	}
	if p := 1 - f.estimate.PRateBelow(unexplainedPctPerWeek); p >= unexplainedP {
		found.Numbers = append(found.Numbers, Number{"rate_pct_per_week", f.estimate.RatePctPerWeek, "%/week"}, Number{"probability_over_1_pct", p, "1"})
		return found, true
	}
	from := f.plan.Start + waterDays
	l, ok := f.lossLine(from, int(f.asOf-from)+1, f.isPossible)
	if !ok || l.n < unexplainedReadings {
		return Finding{}, false
	}
	least := l.atLeast(unexplainedLevel)
	if !least.OK || least.V <= unexplainedPctPerWeek {
		return Finding{}, false
	}
	found.Numbers = append(found.Numbers, Number{"line_pct_per_week", l.pctPerWeek, "%/week"}, Number{"line_at_least_pct_per_week", least.V, "%/week"})
	return found, true
}

// isPossible reports whether a day's reading can be a weight, used or not.
func (f *facts) isPossible(d engine.Day) bool { return balance.IsWeight(f.row(d).WeightKg) }
