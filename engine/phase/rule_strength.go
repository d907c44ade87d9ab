package phase

import "fmt"

// strengthFalls eases a plan when strength falls while the loss is fast: two
// lifts or more, and at least half of those with a trend, fall beyond doubt,
// and the loss is likelier over the middle of the band than under it. With
// training and enough protein strength usually holds at such rates (Garthe I et
// al., Int J Sport Nutr Exerc Metab 2011;21:97-104); how much of a fall is too
// much has no published number: ours.
func strengthFalls(f *facts) (verdict, bool) {
	s := f.strain()
	isFast := f.estimate.RatePctPerWeek > (f.plan.BandLowPctPerWeek+f.plan.BandHighPctPerWeek)/2
	if s.FallingLifts < 2 || 2*s.FallingLifts < s.LiftsWithTrend || !isFast {
		return verdict{}, false
	}
	return f.ease(Finding{
		Code: CodeStrengthFalls, Severity: Notice,
		Sentence: fmt.Sprintf("%d of %d lifts lose strength while the tendency is %s.", s.FallingLifts, s.LiftsWithTrend, f.rateWords()),
		Numbers:  []Number{{"falling_lifts", float64(s.FallingLifts), "1"}, {"lifts_with_trend", float64(s.LiftsWithTrend), "1"}},
	}), true
}
