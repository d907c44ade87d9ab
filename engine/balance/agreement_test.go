package balance

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"example.com/steelyard/engine"
)

// The estimator against the naive second implementation on 1000 random logs:
// the filter's and the smoother's outputs of every day, the estimate for a
// prescription, the forecast, and which readings were refused.
func TestAgreesWithNaiveImplementation(t *testing.T) {
	const n = 1000
	var scratch Scratch
	c := comparison{t: t}
	started, refused, levels, cycles := 0, 0, 0, 0
	for seed := range uint64(n) {
		c.seed = seed
		r := rand.New(rand.NewPCG(seed, 1))
		in := randomInputs(r, 1+r.IntN(150))
		g := randomGuess(r)
		target := engine.Target{IntakeKcal: 1200 + 1800*r.Float64(), ActivityKcal: 400 * r.Float64()}
		want := runReference(in, g)
		track, line := scratch.Smooth(engine.Day(20000), in, g)
		got, ok := track.Estimate(target, Band{0.5, 1})
		if ok != want.started {
			t.Fatalf("seed %d: started %v, want %v", seed, ok, want.started)
		}
		if !ok {
			continue
		}
		started++
		var days []int
		for _, x := range got.Refused {
			days = append(days, int(x.Day)-20000)
		}
		if !slices.Equal(days, want.refusedDays) || got.ReadingsUsed != want.used {
			t.Fatalf("seed %d: used %d refused %v, want %d %v", seed, got.ReadingsUsed, days, want.used, want.refusedDays)
		}
		refused += len(days)
		levels += countLevels(track)
		if want.hasPeriods {
			cycles++
		}

		c.states("filter", track.Days, want.days, want.filtered())
		c.states("smoother", line, want.days, want.smoothed())
		e := want.estimate(target)
		c.near("estimate", 0, got.RatePctPerWeek, e.rate)
		c.near("estimate SD", 0, got.RateSDPctPerWeek, e.sd)
		c.near("estimate trend", 0, got.TrendWeightKg, e.trend)
		c.near("estimate maintenance", 0, got.MaintenanceKcal, e.m)
		c.near("usual", 0, track.UsualKcal(), want.usual())
		c.near("noise", 0, track.end.noise, want.noise)

		ahead, ok := track.Forecast(target, MaxForecastDays)
		if !ok {
			t.Fatalf("seed %d: no forecast", seed)
		}
		for i, w := range want.forecast(target, MaxForecastDays) {
			c.near("forecast level", i, ahead[i].LevelKg, w.LevelKg)
			c.near("forecast level SD", i, ahead[i].LevelSDKg, w.LevelSDKg)
			c.near("forecast reading", i, ahead[i].ReadingKg, w.ReadingKg)
			c.near("forecast reading SD", i, ahead[i].ReadingSDKg, w.ReadingSDKg)
		}
	}
	t.Logf("%d of %d started, %d of them with a cycle, %d readings refused, %d new levels believed; largest difference %.1e in %s",
		started, n, cycles, refused, levels, c.worst, c.where)
	if started < 850 || refused < 1000 || levels < 50 || cycles < 300 {
		t.Errorf("the random logs are too tame: %d started, %d readings refused, %d new levels, %d cycles", started, refused, levels, cycles)
	}
}

// countLevels counts the readings used after two refused ones in a row, about:
// where a new level was believed.
func countLevels(t Track) int {
	n, run := 0, 0
	for i, s := range t.Days {
		switch {
		case s.Refused == FarFromExpected:
			run++
		case i > 0 && s.ReadingsUsed > t.Days[i-1].ReadingsUsed:
			if run >= rejectRun-1 {
				n++
			}
			run = 0
		}
	}
	return n
}

// comparison holds numbers together to 1e-9, absolute to 1 and relative beyond.
type comparison struct {
	t     *testing.T
	seed  uint64
	worst float64
	where string
}

func (c *comparison) near(what string, day int, got, want float64) {
	const tolerance = 1e-9
	off := math.Abs(got-want) / max(1, math.Abs(want))
	if off > c.worst {
		c.worst, c.where = off, what
	}
	if !(off <= tolerance) {
		c.t.Fatalf("seed %d: %s of day %d: %.13g, want %.13g", c.seed, what, day, got, want)
	}
}

func (c *comparison) states(what string, got []State, days []referenceDay, want []referenceState) {
	c.t.Helper()
	for i, s := range got {
		w, d := want[i], days[i]
		if s.Started != d.started || s.ReadingsRefused != d.refused || s.Started && s.ReadingsUsed != d.used {
			c.t.Fatalf("seed %d: %s of day %d: %+v, want started %v, %d used, %d refused", c.seed, what, i, s, d.started, d.used, d.refused)
		}
		c.near(what+" trend", i, s.TrendWeightKg, w.trend)
		c.near(what+" trend SD", i, s.TrendWeightSDKg, w.trendSD)
		c.near(what+" scale weight", i, s.ScaleWeightKg, w.scale)
		c.near(what+" scale weight SD", i, s.ScaleWeightSDKg, w.scaleSD)
		c.near(what+" maintenance", i, s.MaintenanceKcal, w.m)
		c.near(what+" maintenance SD", i, s.MaintenanceSDKcal, w.mSD)
		c.near(what+" rate", i, s.RatePctPerWeek, w.rate)
		c.near(what+" rate SD", i, s.RateSDPctPerWeek, w.sd)
	}
}
