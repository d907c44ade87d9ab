package balance

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"example.com/steelyard/engine"
)

// The filter against the naive second implementation, on 300 random logs.
func TestRunAgreesWithNaiveImplementation(t *testing.T) {
	const tolerance = 1e-9
	started, refused := 0, 0
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 1))
		in := randomInputs(r, 1+r.IntN(150))
		g := randomGuess(r)
		target := engine.Target{IntakeKcal: 1200 + 1800*r.Float64(), ActivityKcal: 400 * r.Float64()}
		want := runReference(in, g, target)
		track := Run(engine.Day(20000), in, g)
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
		for _, c := range []struct {
			what      string
			got, want float64
		}{
			{"rate", got.RatePctPerWeek, want.rate},
			{"rate SD", got.RateSDPctPerWeek, want.sd},
			{"trend", got.TrendWeightKg, want.trend},
			{"maintenance", got.MaintenanceKcal, want.m},
			{"maintenance SD", got.MaintenanceSDKcal, want.mSD},
			{"usual", track.UsualKcal(), want.usual},
			{"noise", track.end.noise, want.noise},
		} {
			if math.Abs(c.got-c.want) > tolerance*math.Max(1, math.Abs(c.want)) {
				t.Errorf("seed %d: %s %.12g, want %.12g", seed, c.what, c.got, c.want)
			}
		}
	}
	t.Logf("%d of 300 started, %d readings refused", started, refused)
	if started < 250 || refused < 300 {
		t.Errorf("the random logs are too tame: %d started, %d refused", started, refused)
	}
}
