package balance

import (
	"math"
	"math/rand/v2"
	"sort"
	"testing"

	"pgregory.net/rapid"

	"example.com/steelyard/engine"
)

// One gross typing error: ten times the reading, 10 kg off, or pounds taken
// for kilograms. The prototype's rate moved by at most 0.12 % a week in 95 %
// of cases.
func TestGrossTypoHardlyMovesTheRate(t *testing.T) {
	const n = 2000
	moved := make([]float64, n)
	for seed := range uint64(n) {
		r := rand.New(rand.NewPCG(seed, 99))
		p := newPerson(r)
		in, target := p.cut(20 + r.IntN(40))
		before, ok := Run(0, in, p.guess).Estimate(target, Band{0.5, 1})
		var rows []int
		for i, d := range in {
			if d.WeightKg.OK {
				rows = append(rows, i)
			}
		}
		y := &in[rows[r.IntN(len(rows))]].WeightKg.V
		switch r.IntN(4) {
		case 0:
			*y *= 10
		case 1:
			*y += 10
		case 2:
			*y -= 10
		case 3:
			*y /= 0.45359237
		}
		after, ok2 := Run(0, in, p.guess).Estimate(target, Band{0.5, 1})
		if !ok || !ok2 {
			t.Fatalf("seed %d: no estimate", seed)
		}
		moved[seed] = math.Abs(after.RatePctPerWeek - before.RatePctPerWeek)
	}
	sort.Float64s(moved)
	t.Logf("the rate moved by %.3f in the median, %.3f in 95 %%, %.3f %%/week at most", moved[n/2], moved[n*95/100], moved[n-1])
	if moved[n*95/100] > 0.13 {
		t.Errorf("one typo moves the rate by %.3f %%/week in 95 %% of cases, want at most 0.13", moved[n*95/100])
	}
}

// Fewer readings or fewer logged days: less is known, of what is and of what
// comes.
func TestMissingDataWidenTheIntervals(t *testing.T) {
	const n = 300
	for _, c := range []struct {
		what   string
		drop   func(*Input)
		atmost int // logs in which one may come out narrower: how noisy the scale is was learnt from the rest
	}{
		{"readings", func(d *Input) { d.WeightKg = engine.Opt{} }, n * 3 / 100},
		{"logged days", func(d *Input) { d.IntakeKcal = engine.Opt{} }, 0},
	} {
		narrower := 0
		for seed := range uint64(n) {
			p := newPerson(rand.New(rand.NewPCG(seed, 5)))
			p.missing, p.unlogged = 0, 0
			in, target := p.cut(40)
			full := Run(0, in, p.guess)
			for i := range in {
				if i%3 != 0 {
					c.drop(&in[i])
				}
			}
			thin := Run(0, in, p.guess)
			a, _ := full.Estimate(target, Band{0.5, 1})
			b, _ := thin.Estimate(target, Band{0.5, 1})
			ahead, _ := full.Forecast(target, MaxForecastDays)
			behind, _ := thin.Forecast(target, MaxForecastDays)
			if b.MaintenanceSDKcal <= a.MaintenanceSDKcal || b.TrendWeightSDKg <= a.TrendWeightSDKg ||
				b.RateSDPctPerWeek <= a.RateSDPctPerWeek || behind[27].LevelSDKg <= ahead[27].LevelSDKg {
				narrower++
			}
		}
		t.Logf("without two thirds of the %s: narrower in %d of %d", c.what, narrower, n)
		if narrower > c.atmost {
			t.Errorf("without two thirds of the %s an interval is narrower in %d of %d", c.what, narrower, n)
		}
	}
}

// In a gap maintenance is known a little less every day, whatever was before it.
func TestGapWidensTheInterval(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, g := drawInputs(t), drawGuess(t)
		gap := rapid.IntRange(1, 60).Draw(t, "gap")
		days := Run(0, append(in, make([]Input, gap)...), g).Days
		for i := len(in) + 1; i < len(days); i++ {
			if days[i-1].Started && days[i].MaintenanceSDKcal <= days[i-1].MaintenanceSDKcal {
				t.Fatalf("day %d of the gap: %v after %v kcal/d", i-len(in), days[i].MaintenanceSDKcal, days[i-1].MaintenanceSDKcal)
			}
		}
	})
}
