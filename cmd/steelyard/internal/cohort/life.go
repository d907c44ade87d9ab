package cohort

import (
	"fmt"
	"math"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/physiology"
)

const (
	underStepSD = 0.002 // a day: what goes unlogged drifts slowly
	// sodiumMgPerKcal is about what a mixed diet holds. From memory of national
	// surveys.
	sodiumMgPerKcal = 1.5
	creepDays       = 40  // time constant of the return of old habits
	refeedCarry     = 0.5 // of a refeed's extra water is left a day later
	weekendDays     = 2.0 / 7
	meanSlipKcal    = 1000
)

// life is one person's way through the days under one coach.
type life struct {
	*person
	fate []chance

	body    physiology.BodyState
	under   float64 // today
	weekend float64 // today: it shrinks when the coach asks to meet the target
	creep   float64 // share of the cut that is eaten again today
	wander  float64 // kcal/d that true maintenance has moved by
	refeed  float64 // kg of water beyond the model's

	window engine.Window
	plan   engine.Plan
}

func newLife(p *person, fate []chance) *life {
	plan := engine.DefaultPlan(start)
	plan.AllowRefeeds = false // both coaches give them by their own calendar
	return &life{
		person: p, fate: fate, body: p.model.Start(), under: p.under, weekend: p.weekend,
		window: engine.Window{First: start, Days: make([]engine.WindowDay, 0, len(fate))},
		plan:   plan,
	}
}

// today is the day that has begun.
func (l *life) today() engine.Day { return l.window.End() - 1 }

// testKcal is what is eaten to in the maintenance test, kcal/d.
func (p *person) testKcal() float64 { return toFive(p.guessKcal()) }

// present is the prescription in force today; before the first it is to eat as
// in the test.
func (l *life) present() engine.Target {
	if t, ok := l.plan.TargetOn(l.today()); ok {
		return t
	}
	return engine.Target{IntakeKcal: l.testKcal()}
}

// wake begins a day: the window has its reading then, and nothing of the day's
// intake.
func (l *life) wake() {
	c := &l.fate[len(l.window.Days)]
	var d engine.WindowDay
	if c.isWeighed {
		d.WeightKg, d.Readings = reading(l.body.WeightKg()+l.refeed, c), 1
	}
	if c.isPeriodMarked {
		d.Marks = d.Marks.With(engine.MarkPeriodStart)
	}
	l.window.Days = append(l.window.Days, d)
}

// live lives the day that has begun, at the target in force or, with a refeed
// of some kcal, at that.
func (l *life) live(refeedKcal engine.Opt) error {
	i := len(l.window.Days) - 1
	d, c := &l.window.Days[i], &l.fate[i]
	target := l.present()
	aim := refeedKcal.Or(target.IntakeKcal)
	over := 0.0
	if w := l.today().Weekday(); w == 0 || w == 6 {
		over = l.weekend
	}
	back := l.eatenBack(aim)
	logged := aim*(1+over*l.loggedWeekend+l.eatingCV*math.Sqrt(l.loggedVar)*c.eatLogged) + l.loggedWeekend*back
	hidden := aim*(over*(1-l.loggedWeekend)+l.eatingCV*math.Sqrt(1-l.loggedVar)*c.eatUnlogged) + (1-l.loggedWeekend)*back
	eaten := (logged+hidden)/(1-l.under) + c.slipKcal + l.appetite()

	if c.isLogged {
		d.IntakeKcal = engine.Some(max(math.Round(logged), 0))
	}
	if c.isSaltyMarked {
		d.Marks = d.Marks.With(engine.MarkSaltyMeal)
	}
	if refeedKcal.OK {
		d.Marks = d.Marks.With(engine.MarkRefeed)
		d.RefeedKcal = refeedKcal
		l.refeed += l.refeedKg
	} else {
		l.refeed *= refeedCarry
	}
	l.under = min(max(l.under+underStepSD*c.underStep, l.underRange.low), l.underRange.high)
	l.wander += l.wanderKcal * c.wanderStep
	if l.cutDay() >= 0 {
		l.creep += (l.person.creep - l.creep) / creepDays
	}
	body, ok := l.metabolise(l.body, l.bodyDay(max(eaten, 0), target.ActivityKcal))
	if !ok {
		return fmt.Errorf("person %d: the body left the model's range on day %d", l.number, i)
	}
	l.body = body
	return nil
}

// eatenBack is what old habits add to a target below that of the test, kcal/d,
// in the log's kcal. It shows there as far as the weekend does.
func (l *life) eatenBack(targetKcal float64) float64 {
	return l.creep * max(l.testKcal()-targetKcal, 0)
}

// appetite is what is eaten unlogged for the weight that was lost, kcal/d.
func (l *life) appetite() float64 {
	return l.appetiteKcal * max(l.startKg-l.body.WeightKg(), 0)
}

// bodyDay is a day as the body meets it: carbohydrate changes more than intake
// does, and sodium follows intake.
func (l *life) bodyDay(eaten, activityKcal float64) physiology.BodyDay {
	usual := l.model.IntakeKcal()
	return physiology.BodyDay{
		IntakeKcal:        eaten,
		CarbKcal:          engine.Some(l.carbKcal(eaten)),
		SodiumChangeMg:    sodiumMgPerKcal * (eaten - usual),
		ActivityKcalPerKg: (l.walkShare*activityKcal + l.wander) / l.body.WeightKg(),
	}
}

// carbKcal is the carbohydrate of an intake; half of it at the start.
func (p *person) carbKcal(eaten float64) float64 {
	usual := p.model.IntakeKcal()
	carbs := 0.5 * usual * (1 + p.carbSwing*(eaten/usual-1))
	return min(max(carbs, 0.05*eaten), 0.95*eaten)
}

// metabolise carries a body over a day by the published model, and shares the
// energy of the day's tissue anew: leanShare times the published share of it
// is lean.
func (p *person) metabolise(s physiology.BodyState, d physiology.BodyDay) (physiology.BodyState, bool) {
	next, ok := p.model.Day(s, d)
	if !ok {
		return s, false
	}
	lean := physiology.LeanKcalPerKg * (next.LeanKg - s.LeanKg)
	stored := physiology.FatKcalPerKg*(next.FatKg-s.FatKg) + lean
	lean *= p.leanShare
	next.LeanKg = s.LeanKg + lean/physiology.LeanKcalPerKg
	next.FatKg = s.FatKg + (stored-lean)/physiology.FatKcalPerKg
	return next, true
}
