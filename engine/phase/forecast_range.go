package phase

import (
	"math"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/internal/dist"
	"example.com/steelyard/engine/physiology"
)

// horizonDays is how far ahead a forecast looks: two years.
const horizonDays = 730

// How sure the range's days are.
const earliestP, medianP, latestP = 0.10, 0.50, 0.90

// Three-point Gauss-Hermite quadrature,
//
//	integral of exp(-x^2) f(x) = sum of weight f(node)
//
// exact for polynomials up to the fifth degree, and so for the mean and the
// variance of a weight that is quadratic in the error. Five points change the
// tests' ranges by a day at most. Source: Abramowitz and Stegun, Handbook of
// Mathematical Functions, table 25.10.
var (
	hermiteNodes   = [...]float64{-1.224744871391589, 0, 1.224744871391589}
	hermiteWeights = [...]float64{0.2954089751509, 1.181635900604, 0.2954089751509}
)

const central = len(hermiteNodes) / 2 // the node without an error

// bundle is the courses of one pace.
type bundle [len(hermiteNodes)]course

func (fc *forecaster) bundle(pacePctPerWeek float64) bundle {
	var b bundle
	for i, x := range hermiteNodes {
		b[i] = fc.course(pacePctPerWeek, math.Sqrt2*x)
	}
	return b
}

// live carries the courses over a day. One that would leave what the model
// covers stays where it is, far beyond the goal; it is false when the central
// one does on the way there.
func (b *bundle) live() bool {
	for i := range b {
		if !b[i].live() && i == central && b[i].weightKg() > b[i].goal.WeightKg.V {
			return false
		}
	}
	return true
}

// weight is the mean of the trend weight and its standard deviation.
func (b *bundle) weight() (mean, sd float64) {
	var square float64
	for i := range b {
		kg, w := b[i].weightKg(), hermiteWeights[i]/math.Sqrt(math.Pi)
		mean += w * kg
		square += w * kg * kg
	}
	return mean, math.Sqrt(max(square-mean*mean, 0))
}

// score is how far the goal is behind, in standard deviations of the weight: the
// goal is met by now with the probability Phi(score). Weight is so nearly linear
// in what is eaten that it is normal when that is; the goal's error and that of
// the present trend add to it.
func (b *bundle) score() float64 {
	mean, sd := b.weight()
	fc := b[central].forecaster
	sd = math.Hypot(sd, math.Hypot(fc.spread.trendKg, fc.spread.goalKg))
	behind := fc.goal.WeightKg.V - mean
	const exact = 1e-9 // kg
	switch {
	case sd >= exact:
		return behind / sd
	case behind >= -exact:
		return math.Inf(1)
	}
	return math.Inf(-1)
}

// outlooks are those of the three paces, and false when the model does not carry
// the body all the way.
func (fc *forecaster) outlooks() ([]Outlook, bool) {
	plan := fc.facts.plan
	most := 100 * maxPaceKgPerWeek / max(fc.trendKg, fc.facts.weightKg.Or(0))
	var out []Outlook
	for _, p := range []struct {
		pace Pace
		pct  float64
	}{{Gentle, plan.BandLowPctPerWeek}, {Standard, fc.facts.pace}, {Brisk, plan.BandHighPctPerWeek}} {
		o, ok := fc.outlook(min(p.pct, most))
		if !ok {
			return nil, false
		}
		o.Pace = p.pace
		if len(out) > 0 {
			o.notAfter(out[len(out)-1])
		}
		out = append(out, o)
	}
	return out, true
}

// notAfter holds the days to those of a slower pace. Each course of a faster one
// is ahead; but where the floor soon stops both alike, the normal approximation
// of the weight can be off by a day or two.
func (o *Outlook) notAfter(slower Outlook) {
	earlier := func(a, b engine.OptDay) engine.OptDay {
		if b.OK && (!a.OK || b.Day < a.Day) {
			return b
		}
		return a
	}
	o.Earliest = earlier(o.Earliest, slower.Earliest)
	o.Median = earlier(o.Median, slower.Median)
	o.Latest = earlier(o.Latest, slower.Latest)
}

// outlook lives the courses of a pace until the last of the range's days is
// known and the central one is at the goal, or until it is clear that the rest
// does not come within two years.
func (fc *forecaster) outlook(pacePctPerWeek float64) (Outlook, bool) {
	o := Outlook{PacePctPerWeek: pacePctPerWeek, WeightAtGoalKg: fc.goal.WeightKg.V, LeanSharePct: fc.leanSharePct()}
	b := fc.bundle(pacePctPerWeek)
	middle := &b[central]
	pending := []milestone{{&o.Earliest, dist.NormalQuantile(earliestP)}, {&o.Median, dist.NormalQuantile(medianP)}, {&o.Latest, dist.NormalQuantile(latestP)}}
	var before progress
	for day := 0; ; day++ {
		on := engine.SomeDay(fc.from + engine.Day(day))
		now := progress{b.score(), middle.weightKg() - fc.goal.WeightKg.V}
		for len(pending) > 0 && now.score >= pending[0].score {
			*pending[0].day = on
			pending = pending[1:]
		}
		if day == horizonDays || len(pending) == 0 && now.leftKg <= 0 {
			return o, true
		}
		if day%lookBackDays == 0 {
			if day > 0 && now.isHopeless(before, horizonDays-day, pending) {
				return o, true
			}
			before = now
		}
		if !b.live() {
			return Outlook{}, false
		}
		if day == 0 {
			o.TargetNow = middle.told()
		}
		if now.leftKg > 0 {
			o.TargetAtGoal = middle.told()
			if !middle.keepsPace && !o.FloorDay.OK {
				o.FloorDay = on
			}
		}
	}
}

// milestone is a day of the range, and the score from which it is known.
type milestone struct {
	day   *engine.OptDay
	score float64
}

// progress is where the courses stand.
type progress struct {
	score  float64
	leftKg float64 // of the central one
}

// lookBackDays is how long progress is watched to see what can still come.
const lookBackDays = 28

// isHopeless reports whether neither the next milestone nor the goal of the
// central course comes in the days left, even at the progress since the last
// look. It only ever slows down: people get lighter and spend less, and the
// spread grows.
func (now progress) isHopeless(before progress, daysLeft int, pending []milestone) bool {
	looks := float64(daysLeft) / lookBackDays
	return (len(pending) == 0 || now.score+looks*(now.score-before.score) < pending[0].score) &&
		(now.leftKg <= 0 || now.leftKg > looks*(before.leftKg-now.leftKg))
}

// leanSharePct is the lean share of the whole loss on the Forbes curve.
func (fc *forecaster) leanSharePct() engine.Opt {
	if !fc.fat.kg.OK {
		return engine.Opt{}
	}
	loss := fc.goal.WeightKg.V - fc.trendKg
	c, ok := physiology.ForbesChange(fc.fat.kg.V, loss)
	if !ok {
		return engine.Opt{}
	}
	return engine.Some(100 * c.LeanKg / loss)
}
