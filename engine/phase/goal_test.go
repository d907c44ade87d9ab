package phase

import (
	"math"
	"strings"
	"testing"

	"example.com/steelyard/engine"
)

// measured is a man of 85 kg after 60 days of a cut, with one body-fat reading
// on the day of his start.
func measured(pct float64, m engine.BodyFatMethod) *trainee {
	p := cutting(1, 60)
	p.window.BodyFat = []engine.BodyFatReading{{Day: start, BodyFat: engine.BodyFat{Pct: pct, Method: m}}}
	return p
}

func (p *trainee) facts() *facts { return newFacts(p.window, p.profile, p.plan, p.today()) }

// curveWeight finds, by halving, the weight at which the Forbes curve through a
// weight and a percentage meets another one: lean mass = 10.4 ln(fat) + constant
// (Forbes GB, Nutr Rev 1987;45:225-231).
func curveWeight(kg, pct, goalPct float64) float64 {
	fat0 := kg * pct / 100
	constant := kg - fat0 - 10.4*math.Log(fat0)
	pctAt := func(fat float64) float64 { return 100 * fat / (fat + 10.4*math.Log(fat) + constant) }
	low, high := 3.0, 150.0
	for range 200 {
		if mid := (low + high) / 2; pctAt(mid) > goalPct {
			high = mid
		} else {
			low = mid
		}
	}
	return low + 10.4*math.Log(low) + constant
}

func TestGoalWeightOnTheForbesCurve(t *testing.T) {
	for _, c := range []struct{ kg, pct, goal float64 }{
		{85, 22, 15}, {85, 22, 10}, {85, 22, 22}, {70, 35, 25}, {130, 45, 20}, {60, 25, 14}, {85, 15, 20},
	} {
		got := forbesWeightAt(c.kg, c.pct, c.goal)
		if want := curveWeight(c.kg, c.pct, c.goal); !got.OK || math.Abs(got.V-want) > 1e-6 {
			t.Errorf("%+v: %v, want %v", c, got, want)
		}
	}
	// By hand: 100 kg with 30 kg of fat to 20 %. F = 17.5 gives L = 70 +
	// 10.4 ln(17.5/30) = 64.39 and 21.4 %; 16 gives 63.46 and 20.1 %; 15.8, 63.33
	// and 19.97 %; so about 15.83 + 63.35 = 79.2 kg.
	if got := forbesWeightAt(100, 30, 20); math.Abs(got.V-79.2) > 0.1 {
		t.Errorf("by hand 79.2 kg, got %v", got)
	}
	for _, c := range []struct{ kg, pct, goal float64 }{{85, 1, 15}, {85, 22, 1}, {85, 71, 15}, {85, math.NaN(), 15}, {85, 22, math.NaN()}, {30, 3, 2}} {
		if got := forbesWeightAt(c.kg, c.pct, c.goal); got.OK {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

func TestGoalKinds(t *testing.T) {
	some, none := engine.Some, engine.Opt{}
	for _, c := range []struct {
		what        string
		weight, fat engine.Opt
		kind        GoalKind
		isKnown     bool
		says        string
		notMeasured bool
	}{
		{"no goal", none, none, GoalNone, false, "neither", false},
		{"a weight", some(78), none, GoalWeight, true, "78.0 kg", false},
		{"body fat", none, some(15), GoalBodyFat, true, "15 % body fat is met", false},
		{"body fat not measured", none, some(15), GoalBodyFat, false, "log a body-fat reading", true},
		{"both, the weight lower", some(60), some(15), GoalWeight, true, "60.0 kg", false},
		{"both, the body fat lower", some(80), some(15), GoalBodyFat, true, "15 % body fat is met", false},
		{"both, one not measured", some(78), some(15), GoalWeight, true, "cannot be judged", true},
	} {
		p := measured(22, engine.BodyFatDXA)
		p.plan.GoalWeightKg, p.plan.GoalBodyFatPct = c.weight, c.fat
		if c.notMeasured {
			p.window.BodyFat = nil
		}
		g := p.facts().goal()
		if g.Kind != c.kind || g.WeightKg.OK != c.isKnown || g.WeightSDKg.OK != c.isKnown || !strings.Contains(g.Sentence, c.says) {
			t.Errorf("%s: %+v", c.what, g)
		}
		if g.BodyFatPct.OK == c.notMeasured || g.Day.OK == c.notMeasured {
			t.Errorf("%s: body fat %+v of %v", c.what, g.BodyFatPct, g.Day)
		}
		if c.kind == GoalWeight && (g.WeightKg != c.weight || g.WeightSDKg.V != 0) {
			t.Errorf("%s: %+v", c.what, g)
		}
	}
}

// The reading is carried to today: on the same curve the goal weight is that of
// the reading's own day, whatever was lost since.
func TestGoalCarriesTheReading(t *testing.T) {
	p := measured(24, engine.BodyFatDXA)
	p.plan.GoalBodyFatPct = engine.Some(15)
	f := p.facts()
	then, ok := f.trendOn(start)
	now, ok2 := f.trendOn(f.asOf)
	if !ok || !ok2 || then < now+3 {
		t.Fatalf("trend of %v, then %v", then, now)
	}
	g := f.goal()
	if want := curveWeight(then, 24, 15); math.Abs(g.WeightKg.V-want) > 1e-6 {
		t.Errorf("goal weight %v, want %v", g.WeightKg.V, want)
	}
	fat0 := 0.24 * then
	fat := g.BodyFatPct.V / 100 * now
	if lean := then - fat0 + 10.4*math.Log(fat/fat0); math.Abs(fat+lean-now) > 1e-6 || g.BodyFatPct.V >= 24 {
		t.Errorf("%v %% now is off the curve", g.BodyFatPct.V)
	}
	// The SD of the goal weight is what 2.3 points of the reading make of it.
	slope := (curveWeight(then, 24.01, 15) - curveWeight(then, 23.99, 15)) / 0.02
	if want := 2.3 * math.Abs(slope); math.Abs(g.WeightSDKg.V-want) > 0.03*want {
		t.Errorf("SD %v, want about %v", g.WeightSDKg.V, want)
	}
	// A point of the reading is a point today, nearly.
	up, ok := carryFat(24.5, then, now)
	down, ok2 := carryFat(23.5, then, now)
	if !ok || !ok2 || g.BodyFatSEPct.V != 2.3 || math.Abs(up-down-1) > 0.03 {
		t.Errorf("standard error now %v; a point has become %v", g.BodyFatSEPct.V, up-down)
	}
	if g.Method != engine.BodyFatDXA || g.Day != engine.SomeDay(start) {
		t.Errorf("%+v", g)
	}
}

func TestGoalRestsOnTheLatest(t *testing.T) {
	tape := engine.Tape{AbdomenCm: engine.Some(90), NeckCm: engine.Some(39)} // 19.1 % at 180 cm, see physiology
	p := measured(22, engine.BodyFatDXA)
	p.plan.GoalBodyFatPct = engine.Some(15)
	p.window.BodyFat = append(p.window.BodyFat,
		engine.BodyFatReading{Day: start + 20, BodyFat: engine.BodyFat{Pct: 20, Method: engine.BodyFatImpedance}},
		engine.BodyFatReading{Day: start + 30, BodyFat: engine.BodyFat{Pct: 0.2}}) // a share, not a percentage
	p.window.Tapes = []engine.TapeReading{{Day: start + 40, Tape: tape}, {Day: start + 50}}
	if r, ok := p.facts().fatReading(); !ok || r.day != start+20 || r.pct != 20 || r.sePct != 4.5 || r.method != engine.BodyFatImpedance {
		t.Errorf("%+v", r)
	}
	p.window.BodyFat = nil
	if r, ok := p.facts().fatReading(); !ok || r.day != start+40 || math.Abs(r.pct-19.1) > 0.05 || r.sePct != 3.52 || r.method != engine.BodyFatTape {
		t.Errorf("%+v", r)
	}
	p.window.Tapes = p.window.Tapes[1:]
	if r, ok := p.facts().fatReading(); ok {
		t.Errorf("%+v", r)
	}
	// Measured eight days before the first weight: nothing to carry it from.
	p = measured(22, engine.BodyFatDXA)
	p.window.First -= 20
	p.window.Days = append(make([]engine.WindowDay, 20), p.window.Days...)
	for day, want := range map[engine.Day]bool{start - 8: false, start - 7: true} {
		p.window.BodyFat[0].Day = day
		if got, ok := p.facts().bodyFat(); ok != want {
			t.Errorf("measured %d days before: %+v", start-day, got)
		}
	}
}

func TestGoalTooLean(t *testing.T) {
	for _, c := range []struct {
		what       string
		sex        engine.Sex
		pct, goal  float64
		heightCm   float64
		isReferred bool
	}{
		{"man, 5 %", engine.Male, 12, 5, 180, false},
		{"man, under it", engine.Male, 12, 4.9, 180, true},
		{"woman, 13 %", engine.Female, 25, 13, 170, false},
		{"woman, under it", engine.Female, 25, 12.9, 170, true},
		{"not known, under 5 %", engine.SexUnknown, 25, 4.9, 170, true},
		// The goal weight is 53.3 kg: an index of 18.5 at 169.8 cm.
		{"a weight just over an index of 18.5", engine.Male, 30, 12, 169, false},
		{"and just under", engine.Male, 30, 12, 171, true},
		{"no goal", engine.Male, 30, 0, 171, false},
		{"a height not known", engine.Male, 30, 12, 0, false},
	} {
		p := measured(c.pct, engine.BodyFatDXA)
		p.profile.Sex = c.sex
		p.profile.HeightCm = engine.Opt{V: c.heightCm, OK: c.heightCm > 0}
		p.plan.GoalBodyFatPct = engine.Opt{V: c.goal, OK: c.goal > 0}
		f := p.facts()
		x, got := goalTooLean(f)
		if got != c.isReferred || got && (x.Code != CodeGoalTooLean || x.Sentence == "" || len(x.Numbers) != 2) {
			t.Errorf("%s: %v %+v, goal weight %v", c.what, got, x, f.goal().WeightKg)
		}
		if o := Forecast(p.window, p.profile, p.plan, p.today()); got && len(o.Outlooks) > 0 {
			t.Errorf("%s: a forecast", c.what)
		}
	}
}

// The errors of the methods, worked out from what their sources say.
func TestGoalErrorsOfMethods(t *testing.T) {
	for _, c := range []struct {
		method    engine.BodyFatMethod
		sex       engine.Sex
		low, high float64
	}{
		{engine.BodyFatDXA, engine.Male, 2.3, 2.3},
		// Jackson AS, Pollock ML, Br J Nutr 1978;40:497 (abstract): 0.0073 to 0.0077
		// g/mL of density; Siri's 495/D - 450 at 1.05 g/mL.
		{engine.BodyFatCalipers, engine.Male, 495 / (1.05 * 1.05) * 0.0073, 495 / (1.05 * 1.05) * 0.0079},
		// J Funct Morphol Kinesiol 2026;11:65 (abstract): limits of agreement, which
		// are 2 x 1.96 SD apart, span 15 to 20 points.
		{engine.BodyFatImpedance, engine.Male, 15 / 3.92, 20 / 3.92},
		{engine.BodyFatTape, engine.Male, 3.52, 3.52}, // see physiology.BodyFatByTape
		{engine.BodyFatTape, engine.Female, 3.72, 3.72},
		{engine.BodyFatVisual, engine.Male, 5, 5},
		{engine.BodyFatMethodUnspecified, engine.Male, 5, 5},
		{99, engine.Male, 5, 5},
	} {
		f := &facts{profile: engine.Profile{Sex: c.sex}}
		if got := f.fatSE(c.method); got < c.low || got > c.high {
			t.Errorf("method %d: %v, want %v to %v", c.method, got, c.low, c.high)
		}
	}
}
