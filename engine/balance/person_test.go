package balance

import (
	"math"
	"math/rand/v2"

	"example.com/steelyard/engine"
)

// person is a simulated trainee of the simplest kind that still has what the
// filter must see through: tissue by energy balance, adaptation, water that
// follows intake with a lag, autoregressive water, a scale, gaps and a log
// that leaves things out. The filter was not fitted on it. Everything is an
// assumption of this test, not a fact about people.
type person struct {
	r *rand.Rand

	tissueKg, startKg float64
	maintenanceKcal   float64 // true, at the starting weight and at maintenance
	guess             Guess
	loggedShare       float64
	daySpread         float64 // of intake about the target
	missing, unlogged float64

	adapt, swing, water       float64
	waterPerThousand, waterSD float64
}

func newPerson(r *rand.Rand) *person {
	p := &person{r: r}
	p.startKg = 55 + 55*r.Float64()
	p.tissueKg = p.startKg
	p.maintenanceKcal = p.startKg * (27 + 9*r.Float64())
	p.guess = Guess{Kcal: p.maintenanceKcal * (1 + 0.11*r.NormFloat64())}
	p.loggedShare = 1 - math.Min(math.Max(0.10+0.07*r.NormFloat64(), 0), 0.25)
	p.daySpread = 0.10 + 0.10*r.Float64()
	p.missing, p.unlogged = 0.4*r.Float64(), 0.25*r.Float64()
	p.waterPerThousand = 1 + r.Float64()
	p.waterSD = 0.3 + 0.5*r.Float64()
	return p
}

// live returns one day of the log at a target, and moves to the next morning.
// Intake varies about the target in logged kcal; half of the deviation is logged.
func (p *person) live(target engine.Target) Input {
	d := Input{TargetKcal: engine.Some(target.IntakeKcal), ActivityKcal: target.ActivityKcal}
	if p.r.Float64() >= p.missing {
		y := p.tissueKg + p.water + p.waterPerThousand*p.swing + 0.1*p.r.NormFloat64()
		d.WeightKg = engine.Some(math.Round(10*y) / 10)
	}
	off := p.daySpread * p.r.NormFloat64()
	if p.r.Float64() >= p.unlogged {
		d.IntakeKcal = engine.Some(math.Round(target.IntakeKcal * (1 + off/math.Sqrt2)))
	}
	eaten := target.IntakeKcal * (1 + off) / p.loggedShare
	change := eaten - p.maintenanceKcal
	p.tissueKg += (eaten - p.spent(eaten, target.ActivityKcal)) / 7600
	p.adapt += (0.14*change - p.adapt) / 14
	p.swing = 0.45*p.swing + 0.55*change/1000
	p.water = 0.4*p.water + p.waterSD*math.Sqrt(1-0.16)*p.r.NormFloat64()
	return d
}

func (p *person) spent(eaten, activity float64) float64 {
	return p.maintenanceKcal + 0.10*(eaten-p.maintenanceKcal) + p.adapt + 0.75*activity + 22*(p.tissueKg-p.startKg)
}

// rate is the true tendency at a target, % of body weight a week.
func (p *person) rate(target engine.Target) float64 {
	eaten := target.IntakeKcal / p.loggedShare
	return 700 * (p.spent(eaten, target.ActivityKcal) - eaten) / (7600 * p.tissueKg)
}

// cut lives a maintenance test of ten days and a cut after it, and returns the
// log with the morning after the last day, and the cut's target.
func (p *person) cut(days int) ([]Input, engine.Target) {
	in, _, target := p.follow(days)
	return in, target
}

// cutWithTruth is cut with the true weight of each morning: tissue and the water
// that intake brings, without noise.
func (p *person) cutWithTruth(days int) (in []Input, levelKg []float64) {
	in, levelKg, _ = p.follow(days)
	return in, levelKg
}

func (p *person) follow(days int) (in []Input, levelKg []float64, target engine.Target) {
	test := engine.Target{IntakeKcal: math.Round(p.guess.Kcal)}
	target = engine.Target{IntakeKcal: math.Round(0.85 * test.IntakeKcal)}
	for day := range days + 1 {
		at := target
		if day < 10 {
			at = test
		}
		levelKg = append(levelKg, p.tissueKg+p.waterPerThousand*p.swing)
		in = append(in, p.live(at))
	}
	return in, levelKg, target
}
