package balance

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"example.com/steelyard/engine"
)

// drawInputs draws a log of which each number is valid, but nothing else is sure.
func drawInputs(t *rapid.T) []Input {
	opt := func(low, high float64) *rapid.Generator[engine.Opt] {
		return rapid.Custom(func(t *rapid.T) engine.Opt {
			if rapid.Bool().Draw(t, "known") {
				return engine.Some(rapid.Float64Range(low, high).Draw(t, "value"))
			}
			return engine.Opt{}
		})
	}
	day := rapid.Custom(func(t *rapid.T) Input {
		return Input{
			WeightKg:      opt(25, 220).Draw(t, "weight"),
			IntakeKcal:    opt(0, maxDayKcal).Draw(t, "intake"),
			TargetKcal:    opt(0, maxDayKcal).Draw(t, "target"),
			ActivityKcal:  rapid.Float64Range(0, 2000).Draw(t, "activity"),
			IsRefeed:      rapid.Bool().Draw(t, "refeed"),
			RefeedKcal:    opt(0, maxDayKcal).Draw(t, "refeed kcal"),
			IsSalty:       rapid.Bool().Draw(t, "salty"),
			IsPeriodStart: rapid.Bool().Draw(t, "period"),
		}
	})
	return rapid.SliceOfN(day, rapid.SampledFrom([]int{0, 5, 20, 60}).Draw(t, "at least"), 80).Draw(t, "days")
}

func drawGuess(t *rapid.T) Guess {
	return Guess{
		Kcal:      rapid.Float64Range(500, 8000).Draw(t, "guess"),
		SDKcal:    rapid.OneOf(rapid.Just(0.0), rapid.Float64Range(1, 2000)).Draw(t, "guess SD"),
		IsTracked: rapid.Bool().Draw(t, "tracked"),
	}
}

var someTarget = engine.Target{IntakeKcal: 2000, ActivityKcal: 100}

// allFinite fails on any number of v that is NaN or infinite, however deep.
func allFinite(t *rapid.T, path string, v reflect.Value) {
	switch v.Kind() {
	case reflect.Float64:
		if math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0) {
			t.Fatalf("%s is %v", path, v.Float())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			allFinite(t, path+"."+v.Type().Field(i).Name, v.Field(i))
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			allFinite(t, path, v.Index(i))
		}
	}
}

// answer is everything that the package says of a log, the smoother and the
// forecast included.
type answer struct {
	Days, Line []State
	Estimate   Estimate
	Started    bool
	Ahead      []ForecastWeight
	Usual      float64
}

func ask(first engine.Day, in []Input, g Guess) answer {
	var a answer
	track, line := Smooth(first, in, g)
	a.Days, a.Line, a.Usual = track.Days, line, track.UsualKcal()
	a.Estimate, a.Started = track.Estimate(someTarget, Band{0.5, 1})
	a.Ahead, _ = track.Forecast(someTarget, MaxForecastDays)
	return a
}

// moved is the answer with all its days moved.
func (a answer) moved(by engine.Day) answer {
	a.Days, a.Line, a.Ahead = slices.Clone(a.Days), slices.Clone(a.Line), slices.Clone(a.Ahead)
	a.Estimate.Refused = slices.Clone(a.Estimate.Refused)
	for i := range a.Days {
		a.Days[i].Day += by
		a.Line[i].Day += by
	}
	for i := range a.Ahead {
		a.Ahead[i].Day += by
	}
	for i := range a.Estimate.Refused {
		a.Estimate.Refused[i].Day += by
	}
	if a.Started {
		a.Estimate.AsOf += by
	}
	return a
}

// equal compares to the last bit.
func (a answer) equal(b answer) bool {
	refused := slices.Equal(a.Estimate.Refused, b.Estimate.Refused)
	a.Estimate.Refused, b.Estimate.Refused = nil, nil
	return refused && slices.Equal(a.Days, b.Days) && slices.Equal(a.Line, b.Line) && slices.Equal(a.Ahead, b.Ahead) &&
		reflect.DeepEqual(a.Estimate, b.Estimate) && a.Started == b.Started && a.Usual == b.Usual
}

func TestEveryNumberIsFinite(t *testing.T) {
	started := 0
	rapid.Check(t, func(t *rapid.T) {
		a := ask(0, drawInputs(t), drawGuess(t))
		allFinite(t, "answer", reflect.ValueOf(a))
		if !a.Started {
			return
		}
		started++
		for _, s := range []State{a.Days[len(a.Days)-1], a.Line[0], a.Line[len(a.Line)/2]} {
			if s.Started && !(s.TrendWeightSDKg > 0 && s.ScaleWeightSDKg > 0 && s.RateSDPctPerWeek > 0 && s.MaintenanceSDKcal > 0) {
				t.Fatalf("a standard deviation is not positive: %+v", s)
			}
		}
		for _, w := range a.Ahead {
			if !(w.LevelSDKg > 0 && w.ReadingSDKg > w.LevelSDKg/2) {
				t.Fatalf("a standard deviation of the forecast: %+v", w)
			}
		}
	})
	if started < 50 {
		t.Errorf("only %d of the logs drawn had an estimate", started)
	}
}

// A guess that is no number starts nothing, and no log at all is fine.
func TestNothingToGoBy(t *testing.T) {
	in := make([]Input, 20)
	for i := range in {
		in[i].WeightKg = engine.Some(80)
	}
	for _, g := range []Guess{{}, {Kcal: -5}, {Kcal: math.NaN()}, {Kcal: math.Inf(1)}, {Kcal: 2500, SDKcal: math.Inf(1)}} {
		if a := ask(0, in, g); a.Started || a.Ahead != nil || a.Line[19].Started {
			t.Errorf("an estimate from the guess %+v", g)
		}
	}
	if a := ask(0, nil, Guess{Kcal: 2500}); a.Started || a.Ahead != nil || len(a.Line) != 0 {
		t.Error("an estimate from no days")
	}
}

func TestDateShiftChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, g := drawInputs(t), drawGuess(t)
		shift := engine.Day(rapid.IntRange(-40000, 40000).Draw(t, "shift"))
		a, b := ask(0, in, g), ask(shift, in, g)
		if !a.moved(shift).equal(b) {
			t.Fatalf("%+v\n%+v", a, b)
		}
	})
}

func TestEmptyDaysInFrontChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, g := drawInputs(t), drawGuess(t)
		empty := rapid.IntRange(1, 100).Draw(t, "empty")
		a, b := ask(engine.Day(empty), in, g), ask(0, append(make([]Input, empty), in...), g)
		b.Days, b.Line = b.Days[empty:], b.Line[empty:]
		if !a.equal(b) {
			t.Fatalf("%+v\n%+v", a, b)
		}
	})
}

// The recommendation is made in the morning: what is eaten that day is not
// known, and neither is the day's refeed.
func TestIntakeOfTheLastDayIsNotRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, g := drawInputs(t), drawGuess(t)
		if len(in) == 0 {
			return
		}
		a := ask(0, in, g)
		last := &in[len(in)-1]
		last.IntakeKcal, last.IsRefeed, last.RefeedKcal = engine.Some(9000), !last.IsRefeed, engine.Some(3000)
		if b := ask(0, in, g); !a.equal(b) {
			t.Fatalf("%+v\n%+v", a, b)
		}
	})
}

// Memory used before, for longer logs and shorter ones, leaves no trace.
func TestScratchLeavesNoTrace(t *testing.T) {
	var scratch Scratch
	rapid.Check(t, func(t *rapid.T) {
		in, g := drawInputs(t), drawGuess(t)
		track, line := Smooth(3, in, g)
		track2, line2 := scratch.Smooth(3, in, g)
		if !slices.Equal(track.Days, track2.Days) || !slices.Equal(track.refused, track2.refused) || !slices.Equal(line, line2) {
			t.Fatalf("smooth:\n%+v\n%+v", track, track2)
		}
		if track3 := scratch.Run(3, in, g); !slices.Equal(track.Days, track3.Days) || track.end != track3.end {
			t.Fatalf("run:\n%+v\n%+v", track, track3)
		}
		if m := scratch.Mornings(3, in, guessFor); !slices.Equal(m, Mornings(3, in, guessFor)) {
			t.Fatalf("mornings:\n%+v", m)
		}
	})
}

func TestPooledRunAllocatesNothing(t *testing.T) {
	in := randomInputs(rand.New(rand.NewPCG(4, 4)), 400)
	g := Guess{Kcal: 2500}
	var scratch Scratch
	for what, f := range map[string]func(){
		"run":      func() { scratch.Run(0, in, g) },
		"smooth":   func() { scratch.Smooth(0, in, g) },
		"mornings": func() { scratch.Mornings(0, in, guessFor) },
	} {
		f()
		if n := testing.AllocsPerRun(20, f); n != 0 {
			t.Errorf("%s: %v allocations", what, n)
		}
	}
}
