package phase

import (
	"math"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
)

// Scratch is the memory of recommendations, for callers who make many one after
// the other. The zero value is ready. What is returned holds nothing of it.
type Scratch struct {
	filter balance.Scratch
}

// Recommend judges a plan on the morning of asOf. It reads the window through
// that morning's reading and the intake of the days before, and the decisions
// in force by then; nothing later. It always answers: too little data, an
// unfinished profile or a plan that cannot be followed are answers too.
func Recommend(w engine.Window, p engine.Profile, plan engine.Plan, asOf engine.Day) Recommendation {
	return new(Scratch).Recommend(w, p, plan, asOf)
}

// Recommend is the function of that name.
func (m *Scratch) Recommend(w engine.Window, p engine.Profile, plan engine.Plan, asOf engine.Day) Recommendation {
	f := m.facts(sinceAnything(w, plan), p, plan, asOf)
	r := Recommendation{
		AsOf:     asOf,
		PlanDay:  int(asOf-plan.Start) + 1,
		Stage:    f.stage,
		Method:   plan.Method,
		RestsOn:  f.basis,
		Cautions: cautionsFor(f),
	}
	v := f.decide()
	r.Options = f.carryOut(&v)
	r.Action, r.Headline, r.Findings, r.Proposed = v.action, v.headline, v.findings, v.proposed
	if v.action == engine.Refer {
		r.Stage = Referred
		return r
	}
	r.Current, r.Estimate = f.current, f.estimate
	r.ReviewDue = ReviewDue(f.plan, asOf)
	r.NextReview = f.nextReview(v, r.ReviewDue)
	r.Adherence, r.Strain, r.Refeeds, r.Return = f.adherence(), *f.strain(), v.refeeds, v.back
	r.WeekendExtraKcal = plan.WeekendExtraKcal
	if f.answers != nil {
		r.Posterior, r.Practice, r.WhyDiffer = f.answers.posterior, f.answers.practice, f.answers.whyDiffer()
	}
	for _, n := range notes() {
		r.Findings = append(r.Findings, n.find(f, v.action)...)
	}
	return r
}

// sinceAnything leaves out the days before anything of the log or the plan. They
// say nothing, and the filter would pass over each of them: a service asks with
// more than a year of days, of which a new trainee's are mostly empty.
func sinceAnything(w engine.Window, plan engine.Plan) engine.Window {
	end := plan.Start
	if len(plan.Decisions) > 0 {
		end = min(end, plan.Decisions[0].From)
	}
	empty := 0
	for empty < min(len(w.Days), int(end-w.First)) && isEmpty(&w.Days[empty]) {
		empty++
	}
	w.First, w.Days = w.First+engine.Day(empty), w.Days[empty:]
	return w
}

// isEmpty is IsEmpty in half the time where it holds: all numbers at once.
func isEmpty(d *engine.WindowDay) bool {
	bits, c := math.Float64bits, &d.CheckIn
	numbers := bits(d.WeightKg.V) | bits(d.IntakeKcal.V) | bits(d.ProteinG.V) | bits(d.Steps.V) | bits(d.ActivityKcal.V) | bits(d.RefeedKcal.V)
	whole := d.Readings | c.HungerEase | c.Energy | c.Sleep | c.TrainingDrive | int(c.WasSlog) | int(d.Marks)
	isKnown := d.WeightKg.OK || d.IntakeKcal.OK || d.ProteinG.OK || d.Steps.OK || d.ActivityKcal.OK || d.RefeedKcal.OK || d.HasPhotos
	return numbers == 0 && whole == 0 && !isKnown || d.IsEmpty()
}

// decide asks the safety rules, then the others.
func (f *facts) decide() verdict {
	if f.stage == Closed {
		const sentence = "The plan is closed."
		return verdict{
			action:   engine.KeepLogging,
			headline: sentence + " Logging on keeps a later start well founded.",
			findings: []Finding{{Code: CodeClosed, Severity: Info, Sentence: sentence}},
		}
	}
	if found := f.safetyFindings(); len(found) > 0 {
		return refer(found)
	}
	for _, r := range rules() {
		if v, ok := r.ask(f); ok {
			v.rule = r.name
			return v
		}
	}
	return f.hold()
}

// nextReview is the day to ask again if the verdict is followed.
func (f *facts) nextReview(v verdict, isDue bool) engine.OptDay {
	next := NextReview(f.plan, f.asOf)
	switch {
	case !next.OK:
	case v.action == engine.Finish:
		return engine.OptDay{}
	case v.action == engine.TakeBreak:
		next.Day = f.asOf + breakDays
	case isDue && v.askAgainDays > 0:
		next.Day = f.asOf + v.askAgainDays
	case v.action == engine.StartDeficit:
		next.Day = f.asOf + firstReviewDays
	case isDue || v.action == engine.RaiseBalance:
		next.Day = max(next.Day, f.asOf+reviewDays)
	}
	return next
}
