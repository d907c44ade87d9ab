package balance

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/steelyard/engine"
)

func TestForecastIsBounded(t *testing.T) {
	track := Run(100, steady(), Guess{Kcal: 2500})
	for _, days := range []int{-1, 0, 29, 1000} {
		if ahead, ok := track.Forecast(someTarget, days); ok || ahead != nil {
			t.Errorf("a forecast of %d days", days)
		}
	}
	for _, target := range []engine.Target{{IntakeKcal: math.NaN()}, {IntakeKcal: -1}, {IntakeKcal: 2000, ActivityKcal: math.Inf(1)}} {
		if _, ok := track.Forecast(target, 7); ok {
			t.Errorf("a forecast for the target %+v", target)
		}
	}
	if _, ok := Run(0, weights(80, 81), Guess{Kcal: 2500}).Forecast(someTarget, 7); ok {
		t.Error("a forecast before the start")
	}
	ahead, ok := track.Forecast(someTarget, 28)
	if !ok || len(ahead) != 28 || ahead[0].Day != 100+21 || ahead[27].Day != 100+21+27 {
		t.Fatalf("%v %+v", ok, ahead)
	}
	short, _ := track.Forecast(someTarget, 9)
	for i, w := range short {
		if w != ahead[i] {
			t.Errorf("day %d depends on how many days were asked for", i)
		}
	}
}

// A forecast does not move the track, and asks it nothing but what it knew.
func TestForecastLeavesTheTrack(t *testing.T) {
	track := Run(0, steady(), Guess{Kcal: 2500})
	before := track.end
	track.Forecast(engine.Target{IntakeKcal: 1500}, 28)
	if track.end != before {
		t.Error("the track moved")
	}
}

// The intervals widen day by day, and one reading scatters more than the level.
func TestForecastWidens(t *testing.T) {
	ahead, _ := Run(0, steady(), Guess{Kcal: 2500}).Forecast(someTarget, 28)
	for i, w := range ahead {
		if w.ReadingSDKg <= w.LevelSDKg {
			t.Errorf("day %d: level SD %v, reading SD %v kg", i, w.LevelSDKg, w.ReadingSDKg)
		}
		if i > 0 && w.LevelSDKg <= ahead[i-1].LevelSDKg {
			t.Errorf("day %d: level SD %v kg after %v", i, w.LevelSDKg, ahead[i-1].LevelSDKg)
		}
		lo, hi := w.LevelInterval(0.80)
		rlo, rhi := w.ReadingInterval(0.80)
		const z = 1.2815515655 // normal quantile of 0.90, any table
		if math.Abs(hi-w.LevelKg-z*w.LevelSDKg) > 1e-8 || math.Abs(w.LevelKg-lo-z*w.LevelSDKg) > 1e-8 ||
			math.Abs(rhi-w.ReadingKg-z*w.ReadingSDKg) > 1e-8 || rlo >= rhi {
			t.Errorf("day %d: %v..%v, %v..%v", i, lo, hi, rlo, rhi)
		}
	}
	// The mean of what will be eaten is off the plan by 200 kcal/d: that alone is
	// 28 x 200/7600 kg at the end, less what weight change takes back.
	if sd := ahead[27].LevelSDKg; sd < 28*200/7600.0*0.9 || sd > 2 {
		t.Errorf("level SD %v kg on day 28", sd)
	}
}

// 500 kcal/d less food is 1.3 to 1.6 kg less tissue in four weeks: 28 x 500/7600 =
// 1.84 kg less digestion, adaptation and the lighter body; and the water that
// goes with it comes on top, at once. 500 kcal/d more activity has no water.
func TestForecastFollowsThePlan(t *testing.T) {
	in := steady()
	for i := range in {
		in[i].IntakeKcal, in[i].TargetKcal = engine.Some(2350), engine.Some(2350)
	}
	track := Run(0, in, Guess{Kcal: 2500})
	at := func(kcal, activity float64) []ForecastWeight {
		ahead, ok := track.Forecast(engine.Target{IntakeKcal: kcal, ActivityKcal: activity}, 28)
		if !ok {
			t.Fatal("no forecast")
		}
		return ahead
	}
	same, less, walk := at(2350, 0), at(1850, 0), at(2350, 500)
	water := -0.5 * track.end.x.k
	tissue := less[27].LevelKg - same[27].LevelKg - water*(1-math.Pow(swingCarry, 28))
	if tissue > -1.3 || tissue < -1.6 {
		t.Errorf("500 kcal/d less food makes %.2f kg of tissue in 28 days", tissue)
	}
	if first := less[2].LevelKg - same[2].LevelKg; first > 0.8*water || first < 1.2*water-0.2 {
		t.Errorf("after three days %.2f kg, of which water %.2f", first, water)
	}
	if d := walk[27].LevelKg - same[27].LevelKg; d > -0.72*28*500/7600*0.9 || d < -0.72*28*500/7600 {
		t.Errorf("500 kcal/d of walking makes %.2f kg in 28 days", d)
	}
	if d := same[27].LevelKg - same[0].LevelKg; math.Abs(d) > 0.3 {
		t.Errorf("the same intake makes %.2f kg in 28 days", d)
	}
}

// Where periods are marked, a reading about the next one shows the water of it,
// and the level does not.
func TestForecastShowsTheNextPeriod(t *testing.T) {
	in := steady()
	in[5].IsPeriodStart = true
	ahead, _ := Run(0, in, Guess{Kcal: 2500}).Forecast(engine.Target{IntakeKcal: 2350}, 28)
	next := 5 + 28 - 21 // row 33 of the log, as the thirteenth day ahead
	if bump := ahead[next].ReadingKg - ahead[next].LevelKg; bump < 0.5 {
		t.Errorf("the next period shows as %.2f kg", bump)
	}
	if bump := ahead[next+9].ReadingKg - ahead[next+9].LevelKg; math.Abs(bump) > 0.05 {
		t.Errorf("nine days later as %.2f kg", bump)
	}
}

// Simulated people who follow the plan as before: the intervals, made for people
// who do not, cover them and more. The truth has in it the water that the last
// days' scatter of intake brought.
func TestForecastCoversSimulatedPeople(t *testing.T) {
	const n = 400
	for _, day := range []int{7, 14, 28} {
		in80, in95, se := 0, 0, 0.0
		for seed := range uint64(n) {
			p := newPerson(rand.New(rand.NewPCG(seed, 44)))
			in, truth := p.cutWithTruth(30 + day)
			target := engine.Target{IntakeKcal: in[len(in)-1].TargetKcal.V}
			ahead, ok := Run(0, in[:31], p.guess).Forecast(target, day)
			if !ok {
				t.Fatalf("seed %d: no forecast", seed)
			}
			w, want := ahead[day-1], truth[30+day]
			if lo, hi := w.LevelInterval(0.80); lo <= want && want <= hi {
				in80++
			}
			if lo, hi := w.LevelInterval(0.95); lo <= want && want <= hi {
				in95++
			}
			se += square(w.LevelKg - want)
		}
		rmse := math.Sqrt(se / n)
		t.Logf("%d days on: RMSE %.2f kg, the 80 %% interval covers %.1f %%, the 95 %% one %.1f %%", day, rmse, 100*float64(in80)/n, 100*float64(in95)/n)
		if rmse > 0.55+0.011*float64(day) || in80 < 0.78*n || in95 < 0.94*n {
			t.Errorf("%d days on: RMSE %.2f kg, covered %d and %d of %d", day, rmse, in80, in95, n)
		}
	}
}
