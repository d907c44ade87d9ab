package balance

import (
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/internal/dist"
)

// State is where an estimate stands on one morning, after that morning's
// reading: the filter's, from the days until then, or the smoother's, from all.
type State struct {
	Day     engine.Day
	Started bool   // the numbers below are known only then
	Refused Reason // why that day's reading was not used
	// IsDoubtful says that the day's reading was used, but lies so far from what
	// was expected that whoever entered it should be asked.
	IsDoubtful bool

	ReadingsUsed    int // through that morning
	ReadingsRefused int // known also before the start

	TrendWeightKg     float64 // see Estimate
	TrendWeightSDKg   float64
	ScaleWeightKg     float64
	ScaleWeightSDKg   float64
	MaintenanceKcal   float64
	MaintenanceSDKcal float64
	RatePctPerWeek    float64 // at the target then in force, or at the usual intake when there was none
	RateSDPctPerWeek  float64
}

// tell writes down the numbers of a morning, judged at an intake and prescribed
// activity.
func (s *State) tell(o *outlook, kcal, activityKcal float64) {
	s.Started = true
	s.TrendWeightKg, s.TrendWeightSDKg = o.trendWeight()
	s.ScaleWeightKg, s.ScaleWeightSDKg = o.scaleWeight()
	s.MaintenanceKcal, s.MaintenanceSDKcal = o.maintenance()
	s.RatePctPerWeek, s.RateSDPctPerWeek = o.rate(kcal, activityKcal)
}

// Interval is that of Estimate.
func (s State) Interval(level float64) (low, high float64) {
	return centralInterval(s.RatePctPerWeek, s.RateSDPctPerWeek, level)
}

// PRateBelow is that of Estimate.
func (s State) PRateBelow(x float64) float64 {
	return dist.NormalCDF((x - s.RatePctPerWeek) / s.RateSDPctPerWeek)
}
