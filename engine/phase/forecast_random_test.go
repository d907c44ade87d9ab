package phase

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"reflect"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/internal/dist"
	"example.com/steelyard/engine/physiology"
)

// randomForecastCase is a random case with goals and body-fat readings.
func randomForecastCase(seed uint64) (engine.Window, engine.Profile, engine.Plan, engine.Day) {
	r := rand.New(rand.NewPCG(seed, 8))
	w, p, plan, asOf := randomCase(r)
	if r.IntN(4) > 0 && len(w.Days) > 0 {
		if kg := lastWeights(w, asOf); len(kg) > 0 {
			plan.GoalWeightKg = engine.Some(max(kg[0]*(0.75+0.3*r.Float64()), 30))
		}
		b := engine.BodyFatReading{Day: w.First + engine.Day(r.IntN(len(w.Days)))}
		b.Pct, b.Method = 8+40*r.Float64(), engine.BodyFatMethod(r.IntN(6))
		if r.IntN(2) > 0 {
			w.BodyFat = []engine.BodyFatReading{b}
		}
		if r.IntN(2) > 0 {
			plan.GoalBodyFatPct = engine.Some(4 + 35*r.Float64())
		}
	}
	if r.IntN(5) == 0 {
		plan.WeekendExtraKcal = float64(r.IntN(500))
	}
	return w, p, plan, asOf
}

func TestForecastOfRandomTrainees(t *testing.T) {
	given, excluded, atFloor, unforeseen := 0, 0, 0, 0
	for seed := range uint64(2000) {
		w, p, plan, asOf := randomForecastCase(seed)
		o := Forecast(w, p, plan, asOf)
		checkFinite(t, seed, "o", reflect.ValueOf(o))
		if len(o.Cautions) < 6 || o.Cautions[0].Code != CodeNotMedicalAdvice || (o.WhyNot == "") != (len(o.Outlooks) == 3) || o.WhyNot != "" && len(o.Findings) == 0 {
			t.Fatalf("seed %d: %+v", seed, o)
		}
		if seed%10 == 0 {
			a, errA := json.Marshal(o)
			b, errB := json.Marshal(Forecast(w, p, plan, asOf))
			if errA != nil || errB != nil || !bytes.Equal(a, b) {
				t.Fatalf("seed %d: not the same twice", seed)
			}
		}
		if mustRefer(w, p, plan, asOf) {
			excluded++
			if len(o.Outlooks) > 0 || o.Goal != (Goal{}) {
				t.Fatalf("seed %d: a forecast for a trainee to be referred: %+v", seed, o)
			}
		}
		if len(o.Outlooks) == 0 {
			continue
		}
		given++
		if given%20 == 0 {
			checkToTheEnd(t, seed, w, p, plan, asOf, o.Outlooks[0])
		}
		r := Recommend(w, p, plan, asOf)
		least := leastKcal(r, w, p, plan) + plan.WeekdayLessKcal()
		for i, x := range o.Outlooks {
			if x.Pace != Pace(i+1) {
				t.Fatalf("seed %d: pace %d at %d", seed, x.Pace, i)
			}
			if x.TargetNow.IntakeKcal < least-1e-6 {
				t.Fatalf("seed %d: intake of %v under the floor of %v", seed, x.TargetNow.IntakeKcal, least)
			}
			for _, target := range []engine.Target{x.TargetNow, x.TargetAtGoal} {
				if target.IntakeKcal < 800 || target.IntakeKcal < plan.IntakeFloorKcal.Or(0) || target.ActivityKcal < 0 || target.ActivityKcal > plan.ActivityCapKcal {
					t.Fatalf("seed %d: %+v", seed, x)
				}
			}
			checkOrder(t, seed, x.Earliest, x.Median)
			checkOrder(t, seed, x.Median, x.Latest)
			if x.PacePctPerWeek/100*r.Estimate.TrendWeightKg > 1+1e-9 {
				t.Fatalf("seed %d: pace of %v", seed, x.PacePctPerWeek)
			}
			if i > 0 { // a faster pace is never later
				slower := o.Outlooks[i-1]
				checkOrder(t, seed, x.Earliest, slower.Earliest)
				checkOrder(t, seed, x.Median, slower.Median)
				checkOrder(t, seed, x.Latest, slower.Latest)
			}
			if x.FloorDay.OK {
				atFloor++
			}
			if !x.Latest.OK {
				unforeseen++
			}
		}
		checkCourse(t, seed, w, p, plan, asOf)
	}
	t.Logf("%d forecasts, %d excluded, %d outlooks at the floor, %d without a latest day", given, excluded, atFloor, unforeseen)
	if given < 300 || excluded < 150 || atFloor < 100 || unforeseen < 50 {
		t.Error("the cases are too tame")
	}
}

// checkOrder wants one day not after another; an unknown day is the last of all.
func checkOrder(t *testing.T, seed uint64, early, late engine.OptDay) {
	t.Helper()
	if late.OK && (!early.OK || early.Day > late.Day) {
		t.Fatalf("seed %d: %v after %v", seed, early, late)
	}
}

// checkToTheEnd lives a pace for two years, whatever can still come.
func checkToTheEnd(t *testing.T, seed uint64, w engine.Window, p engine.Profile, plan engine.Plan, asOf engine.Day, o Outlook) {
	t.Helper()
	f := newFacts(w, p, plan, asOf)
	fc, ok := f.forecaster(f.goal())
	if !ok {
		t.Fatalf("seed %d: no forecaster", seed)
	}
	b := fc.bundle(o.PacePctPerWeek)
	days := []engine.OptDay{{}, {}, {}}
	for day := range engine.Day(731) {
		for i, least := range []float64{0.1, 0.5, 0.9} {
			if !days[i].OK && dist.NormalCDF(b.score()) >= least {
				days[i] = engine.SomeDay(fc.from + day)
			}
		}
		if !b.live() {
			t.Fatalf("seed %d: no day %d", seed, day)
		}
	}
	if days[0] != o.Earliest || days[1] != o.Median || days[2] != o.Latest {
		t.Fatalf("seed %d: %v, to the end %v", seed, o, days)
	}
}

// checkCourse lives the hungriest course for ten weeks and works the floor out
// once more: Mifflin in full, from its paper, maintenance by halving.
func checkCourse(t *testing.T, seed uint64, w engine.Window, p engine.Profile, plan engine.Plan, asOf engine.Day) {
	t.Helper()
	f := newFacts(w, p, plan, asOf)
	fc, ok := f.forecaster(f.goal())
	if !ok {
		t.Fatalf("seed %d: no forecaster", seed)
	}
	c := fc.course(1, -2.9)
	least := 0.0
	for range 70 {
		if c.day%7 == 0 {
			least = floorAt(&c, p, plan)
		}
		kg := c.weightKg()
		if !c.live() {
			t.Fatalf("seed %d: no day %d", seed, c.day)
		}
		if c.floorKcal > least+0.5 && c.day > 7 {
			t.Fatalf("seed %d, day %d: floor of %v, want %v", seed, c.day, c.floorKcal, least)
		}
		if c.eaten() < least-0.5 || c.target.IntakeKcal < least-0.5 || c.target.ActivityKcal > plan.ActivityCapKcal+1e-9 {
			t.Fatalf("seed %d, day %d: %v eaten of %+v, floor %v", seed, c.day, c.eaten(), c.target, least)
		}
		if lost := kg - c.weightKg(); lost > 0.5 {
			t.Fatalf("seed %d, day %d: lost %v kg", seed, c.day, lost)
		}
	}
}

func floorAt(c *course, p engine.Profile, plan engine.Plan) float64 {
	low, high := 0.0, 15000.0 // of the model
	for range 60 {
		mid := (low + high) / 2
		if c.model.ExpenditureKcal(c.body, physiology.BodyDay{IntakeKcal: mid}).V > mid {
			low = mid
		} else {
			high = mid
		}
	}
	y, m, d := (c.from + engine.Day(c.day)).Date()
	by, bm, bd := p.BirthDate.Day.Date()
	age := y - by
	if m < bm || m == bm && d < bd {
		age--
	}
	kcal, sexTerm := 1200.0, -161.0
	if p.Sex == engine.Male {
		kcal, sexTerm = 1500, 5
	}
	kcal = max(kcal, 0.95*(10*c.weightKg()+6.25*p.HeightCm.V-5*float64(age)+sexTerm))
	kcal = min(kcal, 0.9*(c.restedKcal+(low-c.model.IntakeKcal())/c.ratio))
	return max(kcal, 800, plan.IntakeFloorKcal.Or(0)) + plan.WeekdayLessKcal()
}
