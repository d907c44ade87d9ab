package balance

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"example.com/steelyard/engine"
)

// The smoother knows all that the filter knows and what came after: it is never
// less sure, and on the last morning it is the filter.
func TestSmootherKnowsMore(t *testing.T) {
	surer := 0
	rapid.Check(t, func(t *rapid.T) {
		track, line := Smooth(0, drawInputs(t), drawGuess(t))
		for i, f := range track.Days {
			s := line[i]
			if s.Day != f.Day || s.Started != f.Started || s.Refused != f.Refused || s.IsDoubtful != f.IsDoubtful ||
				s.ReadingsUsed != f.ReadingsUsed || s.ReadingsRefused != f.ReadingsRefused {
				t.Fatalf("day %d: %+v\n%+v", i, f, s)
			}
			const slack = 1 + 1e-9
			if s.TrendWeightSDKg > f.TrendWeightSDKg*slack || s.MaintenanceSDKcal > f.MaintenanceSDKcal*slack || s.ScaleWeightSDKg > f.ScaleWeightSDKg*slack {
				t.Fatalf("day %d: less sure with hindsight:\n%+v\n%+v", i, f, s)
			}
			if s.TrendWeightSDKg < 0.9*f.TrendWeightSDKg {
				surer++
			}
		}
		if n := len(line); n > 0 && line[n-1] != track.Days[n-1] {
			t.Fatalf("on the last morning:\n%+v\n%+v", track.Days[n-1], line[n-1])
		}
	})
	if surer < 500 {
		t.Errorf("hindsight helped on %d days only", surer)
	}
}

// Of simulated people the true weight of past days is known: what the scale
// would show without its noise and the water that comes and goes. The smoothed
// line is nearer to it than the filter's, and its intervals cover it.
func TestSmoothedLineIsNearer(t *testing.T) {
	const n = 300
	var filtered, smoothed float64
	days, in95 := 0, 0
	for seed := range uint64(n) {
		p := newPerson(rand.New(rand.NewPCG(seed, 21)))
		in, truth := p.cutWithTruth(60)
		track, line := Smooth(0, in, p.guess)
		for i := 10; i < 50; i++ {
			filtered += square(track.Days[i].ScaleWeightKg - truth[i])
			smoothed += square(line[i].ScaleWeightKg - truth[i])
			if lo, hi := centralInterval(line[i].ScaleWeightKg, line[i].ScaleWeightSDKg, 0.95); lo <= truth[i] && truth[i] <= hi {
				in95++
			}
			days++
		}
	}
	f, s, share := math.Sqrt(filtered/float64(days)), math.Sqrt(smoothed/float64(days)), float64(in95)/float64(days)
	t.Logf("RMSE of past days: filter %.3f kg, smoother %.3f kg; 95 %% interval covers %.1f %%", f, s, 100*share)
	if s > 0.8*f || share < 0.93 {
		t.Errorf("RMSE %.3f kg against the filter's %.3f, coverage %.3f", s, f, share)
	}
}

// A new level that is believed breaks the line: the days before stay where they
// were, and so does what they say of maintenance.
func TestNewLevelBreaksTheLine(t *testing.T) {
	kg := make([]float64, 60)
	for i := range kg {
		kg[i] = 80 + 0.3*math.Sin(float64(2*i))
		if i >= 30 {
			kg[i] += 10
		}
	}
	_, before := Smooth(0, weights(kg[:30]...), Guess{Kcal: 2500})
	track, line := Smooth(0, weights(kg...), Guess{Kcal: 2500})
	if track.Days[30].Refused != FarFromExpected || track.Days[31].Refused != FarFromExpected || track.Days[32].Refused != ReasonNone {
		t.Fatalf("refused: %v %v %v", track.Days[30].Refused, track.Days[31].Refused, track.Days[32].Refused)
	}
	for i, s := range line {
		level := 80.0
		if i >= 32 {
			level = 90
		}
		if math.Abs(s.TrendWeightKg-level) > 0.6 {
			t.Errorf("day %d: %.2f kg", i, s.TrendWeightKg)
		}
	}
	for i, s := range before {
		if d := line[i].TrendWeightKg - s.TrendWeightKg; math.Abs(d) > 0.15 {
			t.Errorf("day %d moved by %.2f kg", i, d)
		}
	}
}

// Refused readings move the line nowhere, neither forward nor back.
func TestRefusedReadingMovesNoLine(t *testing.T) {
	in := steady(80, 80.2, 79.9, 80.1)
	_, want := Smooth(0, in, Guess{Kcal: 2500})
	in[12].WeightKg = engine.Opt{}
	_, without := Smooth(0, in, Guess{Kcal: 2500})
	in[12].WeightKg = engine.Some(95)
	_, with := Smooth(0, in, Guess{Kcal: 2500})
	moved := false
	for i := range with {
		moved = moved || want[i].TrendWeightKg != without[i].TrendWeightKg
		if with[i].TrendWeightKg != without[i].TrendWeightKg || with[i].RatePctPerWeek != without[i].RatePctPerWeek {
			t.Errorf("day %d: %v with the refused reading, %v without", i, with[i].TrendWeightKg, without[i].TrendWeightKg)
		}
	}
	if !moved {
		t.Error("a good reading moves the line nowhere either")
	}
}
