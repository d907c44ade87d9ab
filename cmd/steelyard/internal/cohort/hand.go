package cohort

import (
	"math"
	"slices"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/trend"
)

// The hand method, the way a coach does it on paper: common practice, no
// source, every number of it. It asks the filter nothing, unlike a plan by the
// practice table, which leaves out the readings that the filter refuses and
// gives food back when the filter is sure of a fast loss.
const (
	handReadings  = 7 // the line is drawn through the last so many, and not with fewer
	handTestLeast = 4 // readings of the maintenance test for a line
	handWaterDays = 3 // mornings after a change of intake that are water
	handWildKg    = 2.5
	handStepSpan  = 0.5 // %/week off the band at which a step grows from 5 to 10 %
)

// hand is the hand method.
type hand struct{}

// decide makes the opening cut from the slope of the maintenance test, and then
// reads the last seven readings each week: under the band 5-10 % off by how
// far, otherwise or with fewer readings nothing. It never gives food back: the
// method as it is practised has no line for that.
func (hand) decide(l *life) prescription {
	now, isSet := l.plan.TargetOn(l.today())
	if !isSet {
		floor := l.handFloor()
		test := engine.Target{IntakeKcal: max(l.testKcal(), 5*math.Ceil(floor/5))}
		return prescription{action: engine.KeepLogging, target: test, isNew: true, floorKcal: floor}
	}
	if !l.cutStart().OK {
		return l.lower(now, engine.StartDeficit, handOpening(l)*now.IntakeKcal)
	}
	from := start
	for i, d := range l.plan.Decisions {
		if i > 0 && d.Target.IntakeKcal != l.plan.Decisions[i-1].Target.IntakeKcal {
			from = d.From + handWaterDays + 1
		}
	}
	loss, ok := l.handLine(from, handReadings, handReadings)
	if off := l.plan.BandLowPctPerWeek - loss; ok && off > 0 {
		step := 0.05 + 0.05*min(off/handStepSpan, 1)
		return l.lower(now, engine.LowerBalance, step*now.IntakeKcal)
	}
	if l.isBaseActivityDue() {
		now.ActivityKcal = l.plan.BaseActivityKcal
		return prescription{action: engine.AddBaseActivity, target: now, isNew: true, floorKcal: l.handFloor()}
	}
	return prescription{action: engine.Hold, target: now}
}

// handOpening is the share of the intake that the opening cut takes: 15 % after
// a steady or slightly falling test, 20 slightly rising, 10 markedly falling,
// 25 markedly rising.
func handOpening(l *life) float64 {
	loss, ok := l.handLine(start, len(l.window.Days), handTestLeast)
	switch {
	case !ok:
		return 0.15
	case loss > 0.5:
		return 0.10
	case loss >= -0.1:
		return 0.15
	case loss >= -0.5:
		return 0.20
	}
	return 0.25
}

// lower takes kcal a day off the balance: food as far as the floor leaves room,
// the rest by walking up to the plan's limit.
func (l *life) lower(now engine.Target, action engine.Action, kcal float64) prescription {
	const walkWorth = 0.72 // of prescribed walking counts
	floor := 5 * math.Ceil(l.handFloor()/5)
	food := min(kcal, max(now.IntakeKcal-floor, 0))
	walk := (kcal - food) / walkWorth
	p := prescription{action: action, floorKcal: floor, target: engine.Target{
		IntakeKcal:   max(toFive(now.IntakeKcal-food), floor),
		ActivityKcal: min(toFive(now.ActivityKcal+walk), l.plan.ActivityCapKcal),
	}}
	if p.isNew = p.target != now; !p.isNew {
		p.action, p.isAtFloor = engine.Hold, true
	}
	return p
}

func (l *life) handFloor() float64 { return l.floorKcal(l.guessKcal()) }

// handLine is the loss, % of body weight a week, by the least-squares line
// through the last most readings from a day on. What no eye would take for a
// weight is left out, and so is the morning after a refeed. It is false with
// fewer than least.
func (l *life) handLine(from engine.Day, most, least int) (pctPerWeek float64, ok bool) {
	usual := l.recentWeight()
	var x, y []float64
	var sum float64
	for day := l.today(); day >= from && len(x) < most; day-- {
		kg := l.window.At(day).WeightKg
		isWild := math.Abs(kg.V-usual.V) > handWildKg
		if kg.OK && !isWild && !l.window.At(day-1).Marks.Has(engine.MarkRefeed) {
			x, y = append(x, float64(day-start)), append(y, kg.V)
			sum += kg.V
		}
	}
	slices.Reverse(x)
	slices.Reverse(y)
	line, ok := trend.Fit(x, y)
	if !ok || len(x) < least {
		return 0, false
	}
	return -700 * line.Slope / (sum / float64(len(y))), true
}
