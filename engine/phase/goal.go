package phase

import (
	"fmt"
	"math"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/physiology"
)

// GoalKind says which of a plan's goals counts. Stored: never reorder.
type GoalKind uint8

// Kinds of goals.
const (
	GoalNone GoalKind = iota
	GoalWeight
	GoalBodyFat
)

// Goal is where a plan ends, as a weight. Of two goals the one that is reached
// last counts.
type Goal struct {
	Kind       GoalKind
	WeightKg   engine.Opt // the trend weight at which the goal is met
	WeightSDKg engine.Opt // by the error of the body-fat reading; 0 for a goal weight

	// Present body fat, carried from the reading's day along the Forbes curve.
	// Unknown when nothing is measured.
	BodyFatPct   engine.Opt
	BodyFatSEPct engine.Opt
	Method       engine.BodyFatMethod
	Day          engine.OptDay // of the reading

	Sentence string // what the goal comes to, or what to log
}

// goal works out where the plan ends.
func (f *facts) goal() Goal {
	var g Goal
	fat, measured := f.bodyFat()
	if measured {
		g.BodyFatPct, g.BodyFatSEPct = engine.Some(fat.pct), engine.Some(fat.sePct)
		g.Method, g.Day = fat.method, engine.SomeDay(fat.day)
	}
	if w := f.plan.GoalWeightKg; w.OK {
		g.Kind, g.WeightKg, g.WeightSDKg = GoalWeight, w, engine.Some(0)
		g.Sentence = fmt.Sprintf("The goal is a trend of %.1f kg.", w.V)
	}
	pct := f.plan.GoalBodyFatPct
	if !pct.OK {
		if g.Kind == GoalNone {
			g.Sentence = "The plan has neither a goal weight nor a body-fat goal."
		}
		return g
	}
	kg, sd := f.fatGoal(fat, measured)
	switch {
	case !kg.OK && g.Kind == GoalWeight:
		g.Sentence += " " + f.cannotJudgeFat(measured)
	case !kg.OK:
		g.Kind, g.Sentence = GoalBodyFat, f.cannotJudgeFat(measured)
	case g.Kind == GoalNone || kg.V < g.WeightKg.V:
		g.Kind, g.WeightKg, g.WeightSDKg = GoalBodyFat, kg, sd
		g.Sentence = fmt.Sprintf("The goal of %g %% body fat is met at a trend of about %.1f kg, give or take %.1f; it rests on %s of %s.",
			pct.V, kg.V, sd.V, methodWords(fat.method), fat.day)
	}
	return g
}

// cannotJudgeFat says what a body-fat goal lacks.
func (f *facts) cannotJudgeFat(measured bool) string {
	if measured {
		return fmt.Sprintf("A goal of %g %% body fat is too far from the present to be told as a weight.", f.plan.GoalBodyFatPct.V)
	}
	return fmt.Sprintf("The goal of %g %% body fat cannot be judged yet: log a body-fat reading, or a tape (men neck and abdomen, women neck, waist and hip), "+
		"and weigh that morning or in the week after.", f.plan.GoalBodyFatPct.V)
}

func methodWords(m engine.BodyFatMethod) string {
	switch m {
	case engine.BodyFatDXA:
		return "the X-ray scan"
	case engine.BodyFatCalipers:
		return "the skinfolds"
	case engine.BodyFatImpedance:
		return "the impedance reading"
	case engine.BodyFatTape:
		return "the tape"
	case engine.BodyFatVisual:
		return "the estimate by eye"
	}
	return "the body-fat reading"
}

// fatGoal is the trend weight at which the body-fat goal is met, and its
// standard deviation by the reading's error.
func (f *facts) fatGoal(fat fatNow, measured bool) (kg, sd engine.Opt) {
	now, ok := f.trendOn(f.asOf)
	if !measured || !ok {
		return kg, sd
	}
	pct := f.plan.GoalBodyFatPct.V
	at := func(presentPct float64) engine.Opt { return forbesWeightAt(now, presentPct, pct) }
	low, high := at(fat.pct-fat.sePct/2), at(fat.pct+fat.sePct/2)
	if kg = at(fat.pct); !kg.OK || !low.OK || !high.OK {
		return engine.Opt{}, engine.Opt{}
	}
	return kg, engine.Some(math.Abs(high.V - low.V))
}

// forbesWeightAt is the weight, in kg, at which the Forbes curve through a
// present weight and body fat meets another percentage g:
//
//	F (1 - g)/g = L + 10.4 ln(F/F0),  weight = F/g
//
// F fat mass, L lean mass now, F0 fat mass now, all in kg. Of the two solutions
// it is the one where the percentage rises with weight, as a body with more
// than 10.4 kg of lean mass has it; Newton's method comes down on it, since the
// left side less the right one is convex. Unknown outside 2..70 % and with less
// than 1 kg of fat.
//
// Source of the curve: see physiology.ForbesKg.
func forbesWeightAt(weightKg, presentPct, goalPct float64) engine.Opt {
	isPct := func(v float64) bool { return v >= minFatPct && v <= maxFatPct }
	if !isPct(presentPct) || !isPct(goalPct) {
		return engine.Opt{}
	}
	g := goalPct / 100
	fat0 := presentPct / 100 * weightKg
	lean, ratio := weightKg-fat0, (1-g)/g
	fat := max(fat0, 2*physiology.ForbesKg/ratio)
	for range 50 {
		step := (fat*ratio - lean - physiology.ForbesKg*math.Log(fat/fat0)) / (ratio - physiology.ForbesKg/fat)
		if fat -= step; math.Abs(step) < 1e-10*fat {
			break
		}
	}
	if !(fat >= 1) || math.IsInf(fat, 0) {
		return engine.Opt{}
	}
	return engine.Some(fat / g)
}
