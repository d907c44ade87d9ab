package balance

import "math"

// outlook is what the outputs of a morning are worked out from: means of T, M
// and k, and what is needed of their covariance.
type outlook struct {
	frame          *frame
	t, m, k        float64
	tt, mm, tk, kk float64
}

func (f *filter) outlook() outlook {
	return outlook{&f.frame, f.x.t, f.x.m, f.x.k, f.p.tt, f.p.mm, f.p.tk, f.p.kk}
}

const (
	rateShareSD = 0.01 // of the rate itself, and %/week: what the model leaves out. Fitted on the virtual cohort
	rateFloorSD = 0.01
)

// PctPerWeekPerKcal returns the rate, in % of body weight a week, that one
// kcal/d of energy balance makes at a weight.
func PctPerWeekPerKcal(weightKg float64) float64 {
	return 700 / (kcalPerKg * max(weightKg, minWeightKg))
}

// rate returns the tendency at an intake and its standard deviation:
//
//	rate = 700 (spent - intake) / (7600 T)
//	sd^2 = (700/(7600 T))^2 Var M + (0.01 rate)^2 + 0.01^2
func (o *outlook) rate(kcal, activityKcal float64) (pctPerWeek, sd float64) {
	per := PctPerWeekPerKcal(o.t)
	pctPerWeek = per * (o.frame.spent(o.t, o.m, kcal, activityKcal) - kcal)
	sd = math.Sqrt(square(per)*o.mm + square(rateShareSD*pctPerWeek) + square(rateFloorSD))
	return pctPerWeek, sd
}

// maintenance returns the intake at which expenditure equals it.
func (o *outlook) maintenance() (kcal, sd float64) {
	const share = 1 - thermicShare
	return o.frame.spent(o.t, o.m, 0, 0) / share, math.Sqrt(o.mm) / share
}

// trendWeight returns T and its standard deviation.
func (o *outlook) trendWeight() (kg, sd float64) { return o.t, math.Sqrt(o.tt) }

// scaleWeight returns T + k swing and its standard deviation.
func (o *outlook) scaleWeight() (kg, sd float64) {
	swing := o.frame.swing
	variance := o.tt + swing*(2*o.tk+swing*o.kk)
	return o.t + swing*o.k, math.Sqrt(max(variance, 0))
}
