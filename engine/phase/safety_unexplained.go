package phase

// Losing fast while eating at maintenance is unexplained when it is nearly
// sure to be over 1 % of body weight a week although at least 90 % of the
// guess was logged, on seven days of the test or more. At that rate maintenance
// would lie a third over the guess, three of its standard deviations. Our own
// thresholds, common practice, no source.
const (
	unexplainedPctPerWeek = 1.0
	unexplainedP          = 0.90
	unexplainedShare      = 0.90
	unexplainedDays       = 7
)

// unexplainedLoss refers a trainee who loses weight fast in the maintenance
// test without eating little.
func unexplainedLoss(f *facts) (Finding, bool) {
	if f.stage != MaintenanceTest || f.estimate == nil {
		return Finding{}, false
	}
	sum, n := 0.0, 0.0
	for d := f.plan.Start; d < f.asOf; d++ {
		if in := f.window.At(d).IntakeKcal; in.OK {
			sum += in.V
			n++
		}
	}
	if n < unexplainedDays || sum/n < unexplainedShare*f.guess.TrackedKcal() {
		return Finding{}, false
	}
	p := 1 - f.estimate.PRateBelow(unexplainedPctPerWeek)
	return Finding{
		Code:     CodeUnexplainedLoss,
		Sentence: "Weight is falling fast although the intake is at the estimated maintenance, and nothing in the log explains it.",
		Numbers: []Number{
			{"rate_pct_per_week", f.estimate.RatePctPerWeek, "%/week"},
			{"probability_over_1_pct", p, "1"},
			{"mean_logged_kcal", sum / n, "kcal/d"},
		},
	}, p >= unexplainedP
}
