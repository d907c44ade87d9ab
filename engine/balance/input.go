package balance

import (
	"math"

	"example.com/steelyard/engine"
)

// Input is one civil day as the filter reads it. The reading is of the
// morning; intake follows it.
type Input struct {
	WeightKg      engine.Opt
	IntakeKcal    engine.Opt // the whole day, known only when the day's log is complete
	TargetKcal    engine.Opt // the intake target of the day
	MeanKcal      engine.Opt // the same averaged over week and refeeds, which the rate is told for; TargetKcal when unknown
	ActivityKcal  float64    // prescribed activity in kcal/d, net of rest
	IsRefeed      bool
	RefeedKcal    engine.Opt // the refeed's own target, for that day only
	IsSalty       bool
	IsPeriodStart bool
}

// Bounds of a day's numbers. A reading outside the weight bounds is refused and
// reported (one that is no number counts as none); an intake or target outside
// its bounds counts as not known.
const (
	minWeightKg = 30  // lightest adult the filter was fitted for; fitted on the virtual cohort
	maxWeightKg = 200 // heaviest; same
	maxDayKcal  = 20000
	maxDays     = 8000 // of one run: 22 years
)

// Inputs returns one row a day from w.First through asOf, with the targets that
// plan had in force; plan may be nil. Intake of asOf itself is left out: a
// recommendation is given in the morning. It is empty when asOf lies before
// the window or 8000 days and more after its first day.
func Inputs(w engine.Window, plan *engine.Plan, asOf engine.Day) []Input {
	return new(Scratch).Inputs(w, plan, asOf)
}

// Inputs is the function of that name.
func (m *Scratch) Inputs(w engine.Window, plan *engine.Plan, asOf engine.Day) []Input {
	if asOf < w.First || asOf-w.First >= maxDays {
		return nil
	}
	m.inputs = sized(m.inputs, int(asOf-w.First)+1)
	in := m.inputs
	var decisions []engine.Decision
	if plan != nil {
		decisions = plan.Decisions
	}
	next := 0
	var target engine.Target
	var nothing engine.WindowDay
	for i := range in {
		day := w.First + engine.Day(i)
		for next < len(decisions) && decisions[next].From <= day {
			target = decisions[next].Target
			next++
		}
		d := &nothing // after the window's end
		if i < len(w.Days) {
			d = &w.Days[i]
		}
		x := &in[i]
		*x = Input{}
		if kg := d.WeightKg; kg.OK && !math.IsNaN(kg.V) && !math.IsInf(kg.V, 0) {
			x.WeightKg = kg
		}
		if next > 0 {
			x.TargetKcal = dayKcal(engine.Some(plan.OrdinaryIntakeKcal(target, day)))
			x.MeanKcal = dayKcal(engine.Some(target.MeanIntakeKcal()))
			x.ActivityKcal = dayKcal(engine.Some(target.ActivityKcal)).Or(0)
		}
		x.IsRefeed = d.Marks.Has(engine.MarkRefeed)
		x.RefeedKcal = dayKcal(d.RefeedKcal)
		x.IsSalty = d.Marks.Has(engine.MarkSaltyMeal)
		x.IsPeriodStart = d.Marks.Has(engine.MarkPeriodStart)
		if day < asOf {
			x.IntakeKcal = dayKcal(d.IntakeKcal)
		}
	}
	return in
}

// IsTarget reports whether a prescription can be a day's: its numbers within
// 0..20000 kcal/d.
func IsTarget(t engine.Target) bool {
	return dayKcal(engine.Some(t.IntakeKcal)).OK && dayKcal(engine.Some(t.ActivityKcal)).OK &&
		(t.Refeed.EveryDays == 0 || dayKcal(engine.Some(t.Refeed.IntakeKcal)).OK)
}

// dayKcal drops an energy that no day can have.
func dayKcal(o engine.Opt) engine.Opt {
	if !o.OK || math.IsNaN(o.V) || o.V < 0 || o.V > maxDayKcal {
		return engine.Opt{}
	}
	return o
}
