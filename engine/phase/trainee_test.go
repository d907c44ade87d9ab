package phase

import (
	"math"
	"math/rand/v2"

	"example.com/steelyard/engine"
)

// start is the first day of the invented plans below.
const start = engine.Day(20500) // 2026-02-16

// trainee is an invented person who does as told: weight follows energy, and
// water follows intake. The numbers are this test's, not a fact about people.
type trainee struct {
	r           *rand.Rand
	profile     engine.Profile
	plan        engine.Plan
	window      engine.Window
	tissueKg    float64
	startKg     float64
	maintenance float64 // in logged kcal/d, at the starting weight
	noiseKg     float64
	spread      float64 // of intake about the target
	over        float64 // share eaten and logged over the target
	adapt       float64
	swing       float64
	reading     engine.Opt // of today, once taken
	refed       engine.Day // the last refeed
}

func newTrainee(seed uint64) *trainee {
	birth, _ := engine.DayOf(1993, 5, 20)
	return &trainee{
		r: rand.New(rand.NewPCG(seed, 77)),
		profile: engine.Profile{
			Sex: engine.Male, BirthDate: engine.SomeDay(birth), HeightCm: engine.Some(180),
			MaintenanceGuessKcal: engine.Some(2700),
		},
		plan:     engine.DefaultPlan(start),
		window:   engine.Window{First: start},
		tissueKg: 88, startKg: 88, maintenance: 2700,
		noiseKg: 0.35, spread: 0.08,
	}
}

// today is the morning that is not lived yet.
func (p *trainee) today() engine.Day { return p.window.End() }

// live logs n days at the target in force, or at fallbackKcal without one.
func (p *trainee) live(n int, fallbackKcal float64) {
	for range n {
		kcal := fallbackKcal
		t, ok := p.plan.TargetOn(p.today())
		if ok {
			kcal = p.plan.OrdinaryIntakeKcal(t, p.today())
		}
		isRefeed := t.Refeed.EveryDays > 0 && p.today() >= p.refed+engine.Day(t.Refeed.EveryDays)
		if isRefeed {
			kcal, p.refed = t.Refeed.IntakeKcal, p.today()
		}
		p.eat(kcal * (1 + p.over + p.spread*p.r.NormFloat64()))
		if isRefeed {
			p.back(1).Marks = p.back(1).Marks.With(engine.MarkRefeed)
		}
	}
}

// eat logs one day with so much eaten.
func (p *trainee) eat(kcal float64) {
	target, _ := p.plan.TargetOn(p.today())
	p.window.Days = append(p.window.Days, engine.WindowDay{WeightKg: p.scale(), Readings: 1, IntakeKcal: engine.Some(math.Round(kcal))})
	p.reading = engine.Opt{}
	change := kcal - p.maintenance
	p.tissueKg += (kcal - p.spent(kcal, target.ActivityKcal)) / 7600
	p.adapt += (0.14*change - p.adapt) / 14
	p.swing = 0.45*p.swing + 0.55*change/1000
}

// scale is this morning's reading: the same however often it is asked.
func (p *trainee) scale() engine.Opt {
	if !p.reading.OK {
		p.reading = engine.Some(math.Round(10*(p.tissueKg+1.5*p.swing+p.noiseKg*p.r.NormFloat64())) / 10)
	}
	return p.reading
}

func (p *trainee) spent(eaten, activity float64) float64 {
	return p.maintenance + 0.10*(eaten-p.maintenance) + p.adapt + 0.72*activity + 22*(p.tissueKg-p.startKg)
}

// morning adds today's reading and asks; the day itself is not lived yet.
func (p *trainee) morning() Recommendation {
	w := p.window
	w.Days = append(w.Days[:len(w.Days):len(w.Days)], engine.WindowDay{WeightKg: p.scale(), Readings: 1})
	return Recommend(w, p.profile, p.plan, p.today())
}

// follow records the recommendation as the coach's decision from today on.
func (p *trainee) follow(r Recommendation) {
	d := engine.Decision{From: r.AsOf, Action: r.Action, By: "coach"}
	switch {
	case r.Proposed != nil:
		d.Target = *r.Proposed
	case r.Current != nil:
		d.Target = *r.Current
	}
	p.plan.Decisions = append(p.plan.Decisions, d)
}

// trueRate is the tendency at the target in force, % of body weight a week.
func (p *trainee) trueRate() float64 {
	t, _ := p.plan.TargetOn(p.today())
	eaten := t.MeanIntakeKcal() * (1 + p.over)
	return 700 * (p.spent(eaten, t.ActivityKcal) - eaten) / (7600 * p.tissueKg)
}
