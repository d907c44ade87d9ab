package demo

import (
	"math"
	"math/rand/v2"
	"time"
)

// body is an invented trainee for the generator: a tissue balance, water that
// comes and goes with food, and a noisy scale. It is deliberately not the
// engine's own model: other constants, another shape of the water.
type body struct {
	rng *rand.Rand

	tissueKg    float64 // everything but the moving water
	firstKg     float64
	spendsKcal  float64 // a day at the first weight, at rest from any plan
	spareKcal   float64 // what the body saves by now when food is short
	waterKg     float64 // bound to stored carbohydrate and salt
	swingKg     float64 // slow random water
	spikeKg     float64 // of a feast, gone in days
	hidden      float64 // share of intake that is not logged
	scatter     float64 // of a day's intake
	swingSDKg   float64
	missesWeigh float64 // chance that a morning is not weighed
	missesLog   float64
}

// morning is what the scale shows.
func (b *body) morning() float64 {
	return b.tissueKg + b.waterKg + b.swingKg + b.spikeKg + 0.08*b.rng.NormFloat64()
}

// eats draws a day's true intake around a target in logged kcal.
func (b *body) eats(target, over float64, day time.Time) float64 {
	kcal := target * (1 + over) / (1 - b.hidden)
	switch day.Weekday() {
	case time.Friday, time.Saturday:
		kcal *= 1.06
	default:
		kcal *= 0.976 // so that a week comes out at the target
	}
	return kcal * (1 + b.scatter*b.rng.NormFloat64())
}

// live passes a day: food in, movement out.
func (b *body) live(trueKcal, walkKcal, workKcal float64) {
	short := b.spendsKcal - trueKcal
	b.spareKcal += (0.10*short - b.spareKcal) / 20
	spends := b.spendsKcal + workKcal + 0.75*walkKcal - b.spareKcal - 0.08*short + 22*(b.tissueKg-b.firstKg)
	b.tissueKg += (trueKcal - spends) / 7500

	b.waterKg += 0.42 * (-1.7*short/1000 - b.waterKg)
	b.swingKg = 0.5*b.swingKg + b.swingSDKg*math.Sqrt(0.75)*b.rng.NormFloat64()
	b.spikeKg *= 0.5
}
