package balance

import (
	"math"
	"math/rand/v2"

	"example.com/steelyard/engine"
)

// randomInputs makes a messy log that no person kept: gaps, days without
// intake, marks, typing errors, a step in weight, targets that change.
func randomInputs(r *rand.Rand, days int) []Input {
	in := make([]Input, days)
	weight := 45 + 90*r.Float64()
	maintenance := 1500 + 1800*r.Float64()
	target := maintenance
	missing, unlogged := 0.5*r.Float64(), 0.5*r.Float64()
	isWoman := r.IntN(2) == 0
	for i := range in {
		d := &in[i]
		if r.IntN(25) == 0 {
			target = maintenance * (0.6 + 0.5*r.Float64())
		}
		if i > days/5 {
			d.TargetKcal = engine.Some(target)
			d.ActivityKcal = float64(r.IntN(3)) * 100
		}
		eaten := target * (1 + 0.2*r.NormFloat64())
		weight += (eaten - maintenance) / 7600
		if r.Float64() > unlogged {
			d.IntakeKcal = engine.Some(math.Max(eaten, 0))
		}
		if r.Float64() > missing {
			y := weight + 0.7*r.NormFloat64()
			switch r.IntN(40) {
			case 0:
				y += 10
			case 1:
				y *= 10
			case 2:
				y /= 0.45359237
			}
			d.WeightKg = engine.Some(math.Round(y*10) / 10)
		}
		if r.IntN(80) == 0 {
			weight += 8 * r.NormFloat64() // another scale
		}
		d.IsRefeed = r.IntN(14) == 0
		if d.IsRefeed && r.IntN(2) == 0 {
			d.RefeedKcal = engine.Some(1.2 * target)
		}
		d.IsSalty = r.IntN(20) == 0
		d.IsPeriodStart = isWoman && i%28 == 9
	}
	return in
}

func randomGuess(r *rand.Rand) Guess {
	g := Guess{Kcal: 1500 + 2000*r.Float64(), IsTracked: r.IntN(3) == 0}
	if r.IntN(2) == 0 {
		g.SDKcal = 0.2 * g.Kcal
	}
	return g
}
