package cohort

import (
	"math"
	"slices"
	"testing"

	"example.com/steelyard/engine"
)

func TestTypingErrors(t *testing.T) {
	for kind, want := range map[typo]float64{
		noTypo: 84.3, tenMore: 94.3, tenLess: 74.3, timesTen: 843, oneMore: 85.3, swapped: 83.4,
	} {
		c := chance{typo: kind, waterKg: 0.5, scaleKg: -0.19}
		if got := reading(84.03, &c); got.V != want { // 84.34 in all
			t.Errorf("typo %d: %v, want %v", kind, got, want)
		}
	}
}

// The scatter of the readings about a smooth line. Of 23 weight series that no
// one made up the median SD of the residuals is 0.48 kg, their lag-1
// autocorrelation about a 21-day mean is +0.23, and 1.1 % lie beyond three SD
// (this project's own count). The easy cohort is like that; the others hold more
// water on purpose, and their readings scatter more than real people's.
func TestNoiseIsLikeRealPeoples(t *testing.T) {
	for k, c := range map[Kind]struct{ sd, lag spread }{
		Easy:    {spread{0.38, 0.62}, spread{0.13, 0.33}},
		General: {spread{0.60, 0.95}, spread{0.13, 0.35}},
		Hard:    {spread{0.75, 1.15}, spread{0.13, 0.35}},
	} {
		sd, lag, beyond := scatter(t, k)
		t.Logf("%v: median SD %.3f kg, median lag-1 autocorrelation %.3f, %.2f %% beyond 3 SD", k, sd, lag, 100*beyond)
		if sd < c.sd.low || sd > c.sd.high || lag < c.lag.low || lag > c.lag.high || beyond < 0.001 || beyond > 0.02 {
			t.Errorf("%v: SD %v kg, lag-1 autocorrelation %v, share beyond 3 SD %v", k, sd, lag, beyond)
		}
	}
}

// scatter of 200 people who eat at about maintenance.
func scatter(t *testing.T, k Kind) (sd, lag, beyondShare float64) {
	t.Helper()
	const people = 200
	var sds, lags []float64
	beyond, all := 0, 0
	for number := range people {
		p, fate := anyPerson(t, k, number)
		p = p.in(Wandering)
		l := newLife(p, fate)
		l.begin(engine.KeepLogging, engine.Target{IntakeKcal: toFive(p.guessKcal())})
		l.tissue(t, lifeDays)
		res := residuals(l.window)
		var sum, cross, pairs float64
		n := 0
		for i, r := range res {
			if r.OK {
				sum += r.V * r.V
				n++
			}
			if i > 0 && r.OK && res[i-1].OK {
				cross += r.V * res[i-1].V
				pairs++
			}
		}
		sd := math.Sqrt(sum / float64(n))
		sds = append(sds, sd)
		lags = append(lags, cross/pairs/(sd*sd))
		for _, r := range res {
			all += one(r.OK)
			beyond += one(r.OK && math.Abs(r.V) > 3*sd)
		}
	}
	slices.Sort(sds)
	slices.Sort(lags)
	return sds[people/2], lags[people/2], float64(beyond) / float64(all)
}

// residuals are the readings without the mean of the 21 days about them. What
// lies 4 kg off is a typing error, not noise.
func residuals(w engine.Window) []engine.Opt {
	out := make([]engine.Opt, len(w.Days))
	for i := 10; i < len(w.Days)-10; i++ {
		var near []float64
		for _, d := range w.Days[i-10 : i+11] {
			if d.WeightKg.OK {
				near = append(near, d.WeightKg.V)
			}
		}
		kg := w.Days[i].WeightKg
		if len(near) < 8 || !kg.OK {
			continue
		}
		slices.Sort(near)
		mid, sum, n := near[len(near)/2], 0.0, 0.0
		for _, v := range near {
			if math.Abs(v-mid) < 4 {
				sum += v
				n++
			}
		}
		if math.Abs(kg.V-mid) < 4 {
			out[i] = engine.Some(kg.V - sum/n)
		}
	}
	return out
}

// A period's first days weigh most, and come once a period.
func TestCycle(t *testing.T) {
	p := person{periodDays: 28, periodPhase: 0.25, cycleKg: 1}
	starts := 0
	for day := 1; day <= 56; day++ {
		if p.periodStarts(day) {
			starts++
			if w := p.cycleWater(day); w < 0.9 || p.cycleWater(day+12) > 0.05 || p.cycleWater(day-3) < 0.4 {
				t.Errorf("day %d: %v kg", day, w)
			}
		}
	}
	if starts != 2 {
		t.Errorf("%d periods in 56 days", starts)
	}
	if p = (person{cycleKg: 1}); p.cycleWater(3) != 0 || p.periodStarts(3) {
		t.Error("a cycle without one")
	}
}
