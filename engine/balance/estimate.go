package balance

import (
	"math"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/internal/dist"
)

// Band is the loss that counts as on track, in % of body weight a week.
type Band struct{ LowPctPerWeek, HighPctPerWeek float64 }

// Estimate is what the readings and the log say about one prescription on one
// morning. Rates are tendencies of tissue, positive for a loss, at the
// prescription and the trainee's usual deviation from it.
type Estimate struct {
	AsOf engine.Day

	// TrendWeightKg leaves out the water that recent intake, salt, refeeds and
	// the cycle bring or take; ScaleWeightKg is what the scale should show on
	// an ordinary morning at the present intake.
	TrendWeightKg   float64
	TrendWeightSDKg float64
	ScaleWeightKg   float64
	ScaleWeightSDKg float64

	RatePctPerWeek   float64
	RateSDPctPerWeek float64

	// MaintenanceKcal is the logged intake, in kcal/d, that would hold the
	// tissue weight as of today with no prescribed activity.
	MaintenanceKcal   float64
	MaintenanceSDKcal float64

	IntakeKcal float64 // expected logged intake under the prescription, its refeeds included, kcal/d

	// WaterKgPer1000Kcal is the water and glycogen that a lasting change of
	// intake of 1000 kcal/d brings or takes, for this trainee.
	WaterKgPer1000Kcal   float64
	WaterSDKgPer1000Kcal float64

	PBelowBand float64 // probability that the rate is under the band
	PAboveBand float64 // probability that it is over

	ReadingsUsed int
	Refused      []Refusal // ascending by day
}

// Estimate judges a prescription. It is false when the filter has not started
// (fewer than three valid readings, and fewer than seven days since the first)
// and for a target that is no day's: outside 0..20000 kcal/d.
func (t Track) Estimate(target engine.Target, band Band) (Estimate, bool) {
	f := &t.end
	if !f.started || !IsTarget(target) {
		return Estimate{}, false
	}
	e := Estimate{
		AsOf:         t.Days[len(t.Days)-1].Day,
		IntakeKcal:   target.MeanIntakeKcal() * (1 + f.eater.over()),
		ReadingsUsed: f.accepted,
		Refused:      t.refused,
	}
	o := f.outlook()
	e.TrendWeightKg, e.TrendWeightSDKg = o.trendWeight()
	e.ScaleWeightKg, e.ScaleWeightSDKg = o.scaleWeight()
	e.MaintenanceKcal, e.MaintenanceSDKcal = o.maintenance()
	e.RatePctPerWeek, e.RateSDPctPerWeek = o.rate(e.IntakeKcal, target.ActivityKcal)
	e.WaterKgPer1000Kcal, e.WaterSDKgPer1000Kcal = o.k, math.Sqrt(o.kk)
	e.PBelowBand = e.PRateBelow(band.LowPctPerWeek)
	e.PAboveBand = 1 - e.PRateBelow(band.HighPctPerWeek)
	return e, true
}

// HoldingIntake returns the logged intake that would hold the tissue weight as
// of today with a prescribed activity, both in kcal/d, and its standard
// deviation. What is eaten more costs its digestion, so activity asks for a
// little more food than it takes.
func (e Estimate) HoldingIntake(activityKcal float64) (kcal, sd float64) {
	return e.MaintenanceKcal + WalkShare*activityKcal/(1-thermicShare), e.MaintenanceSDKcal
}

// scaleSD is what real people's slopes over the next weeks differ by from the
// tendency, %/week: they do not keep eating as they did.
const scaleSD = 0.20

// Interval returns the central interval of the rate, in % of body weight a
// week, at a level between 0 and 1, such as 0.80 or 0.95.
func (e Estimate) Interval(level float64) (low, high float64) {
	return centralInterval(e.RatePctPerWeek, e.RateSDPctPerWeek, level)
}

// ScaleInterval is Interval for what the scale will show as the rate over the
// next three to four weeks. It is wider, and never to be mixed up with the
// interval of the tendency.
func (e Estimate) ScaleInterval(level float64) (low, high float64) {
	return centralInterval(e.RatePctPerWeek, math.Hypot(e.RateSDPctPerWeek, scaleSD), level)
}

func centralInterval(mean, sd, level float64) (low, high float64) {
	half := dist.NormalQuantile(0.5+level/2) * sd
	return mean - half, mean + half
}

// PRateBelow returns the probability that the rate is under x % of body weight
// a week.
func (e Estimate) PRateBelow(x float64) float64 {
	return dist.NormalCDF((x - e.RatePctPerWeek) / e.RateSDPctPerWeek)
}
