package balance

import (
	"math"

	"example.com/steelyard/engine"
)

// MaxForecastDays is how far ahead the weight is ever told: beyond four weeks
// real people's slopes have faded too often.
const MaxForecastDays = 28

// planSD is how far the mean intake of the coming weeks lies from the plan,
// kcal/d: people do not keep eating as they did. Chosen on weight series of real
// people, so that the intervals cover them two and four weeks on.
const planSD = 200

// ForecastWeight is what a coming morning would show if intake went on as it was
// logged: not what will happen, and never a date.
type ForecastWeight struct {
	Day engine.Day

	// The level: T + k swing, without the water that comes and goes.
	LevelKg   float64
	LevelSDKg float64
	// One reading of the scale, with that water, the cycle where periods are
	// marked, and the scale's own error.
	ReadingKg   float64
	ReadingSDKg float64
}

// LevelInterval returns the central interval of the level, in kg, at a level of
// confidence between 0 and 1.
func (w ForecastWeight) LevelInterval(level float64) (low, high float64) {
	return centralInterval(w.LevelKg, w.LevelSDKg, level)
}

// ReadingInterval is LevelInterval for one reading of the scale.
func (w ForecastWeight) ReadingInterval(level float64) (low, high float64) {
	return centralInterval(w.ReadingKg, w.ReadingSDKg, level)
}

// Forecast carries the filter on over the coming days, the first of them the
// day after the last morning, at a prescription and the trainee's usual
// deviation from it: the filter's own transition, each day as one that is not
// logged, and once, before the first of them,
//
//	Var M += 200^2
//
// since the mean of what will be eaten is not the plan. It is false when the
// filter has not started, for a target that is no day's, and for days outside
// 1..28.
func (t Track) Forecast(target engine.Target, days int) ([]ForecastWeight, bool) {
	if !t.end.started || !IsTarget(target) || days < 1 || days > MaxForecastDays {
		return nil, false
	}
	f := t.end
	f.p.mm += square(planSD)
	day := Input{TargetKcal: engine.Some(target.MeanIntakeKcal()), ActivityKcal: target.ActivityKcal}
	out := make([]ForecastWeight, days)
	for i := range out {
		f.pass(&day)
		w := &out[i]
		w.Day = t.Days[len(t.Days)-1].Day + 1 + engine.Day(i)
		o := f.outlook()
		w.LevelKg, w.LevelSDKg = o.scaleWeight()
		shape := cycleShape(f.sincePeriod)
		w.ReadingKg = f.x.t + f.x.a + f.swing*f.x.k + shape*f.x.c
		ph := f.p.atReading(f.swing, shape)
		w.ReadingSDKg = math.Sqrt(variance(&ph, f.swing, shape) + f.noise*square(readingSD))
	}
	return out, true
}
