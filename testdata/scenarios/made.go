package scenarios

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"example.com/steelyard/engine"
)

// Made says how a simulated trainee lived: weight follows energy, and water
// follows intake. The numbers are the scenario's, not a fact about people. The
// same Made gives the same log.
type Made struct {
	Seed            uint64  `yaml:"seed"`
	Days            int     `yaml:"days"`
	StartKg         float64 `yaml:"start_kg"`
	MaintenanceKcal float64 `yaml:"maintenance_kcal"` // as it would be logged, at the starting weight
	NoiseKg         float64 `yaml:"noise_kg"`         // standard deviation of a morning's reading
	Spread          float64 `yaml:"spread"`           // of the intake about the target, as a share
	UsualKcal       float64 `yaml:"usual_kcal"`       // eaten while there is no target
	Follow          bool    `yaml:"follow"`           // every recommendation is decided as it comes

	Lifts map[string]float64 `yaml:"lifts"` // estimated one-repetition maximum at the start, kg; a session every third day
	Cycle *Cycle             `yaml:"cycle"`
	Turns []Turn             `yaml:"turns"`
}

// Cycle is a menstrual cycle with water before each period.
type Cycle struct {
	First string  `yaml:"first"` // first day of a period
	Every int     `yaml:"every"` // days
	Kg    float64 `yaml:"kg"`
}

// Turn changes the trainee's ways from a day on; what it leaves out stays.
type Turn struct {
	From            string   `yaml:"from"`
	MaintenanceKcal *float64 `yaml:"maintenance_kcal"`
	Over            *float64 `yaml:"over"`     // share eaten and logged over the target
	WaterKg         *float64 `yaml:"water_kg"` // held on top of all else
	WeighEvery      *int     `yaml:"weigh_every"`
	LogsIntake      *bool    `yaml:"logs_intake"`
	LiftsPctPerWeek *float64 `yaml:"lifts_pct_per_week"`
}

func (m Made) check() error {
	if m.Days < 1 || m.Days > 400 || m.StartKg < 30 || m.MaintenanceKcal < 800 || m.NoiseKg <= 0 || m.UsualKcal < 800 {
		return errors.New("days, start_kg, maintenance_kcal, noise_kg and usual_kcal must be given")
	}
	if m.Cycle != nil {
		if _, err := engine.ParseDay(m.Cycle.First); err != nil || m.Cycle.Every < 20 {
			return errors.New("cycle: needs a first day and 20 days or more between periods")
		}
	}
	for i, t := range m.Turns {
		if _, err := engine.ParseDay(t.From); err != nil {
			return fmt.Errorf("turns[%d].from: %w", i, err)
		}
		if t.WeighEvery != nil && *t.WeighEvery < 0 {
			return fmt.Errorf("turns[%d].weigh_every: must be 0 (never) or more", i)
		}
	}
	return nil
}

// life is a simulated trainee on the way.
type life struct {
	made        Made
	r           *rand.Rand
	tissueKg    float64
	maintenance float64
	adapt       float64
	swing       float64
	over        float64
	waterKg     float64
	weighEvery  int
	logsIntake  bool
	liftsPct    float64
	e1rm        map[string]float64
	refed       engine.Day
	out         []engine.Entry
}

// Live makes the log of a plan from its first day on. decide is asked each
// morning, with the log so far, for the decisions that begin to hold that day.
func (m Made) Live(plan engine.Plan, decide func(today engine.Day, plan engine.Plan, log []engine.Entry) []engine.Decision) ([]engine.Entry, []engine.Decision) {
	l := &life{
		made: m, r: rand.New(rand.NewPCG(m.Seed, 1)), tissueKg: m.StartKg, maintenance: m.MaintenanceKcal,
		weighEvery: 1, logsIntake: true, e1rm: map[string]float64{},
	}
	for lift, kg := range m.Lifts {
		l.e1rm[lift] = kg
	}
	plan.Decisions = nil
	for today := plan.Start; today < plan.Start+engine.Day(m.Days); today++ {
		l.turn(today)
		l.weigh(today, int(today-plan.Start))
		plan.Decisions = append(plan.Decisions, decide(today, plan, l.out)...)
		l.live(today, plan)
	}
	return l.out, plan.Decisions
}

func (l *life) turn(today engine.Day) {
	for _, t := range l.made.Turns {
		if from, _ := engine.ParseDay(t.From); from != today {
			continue
		}
		set(&l.maintenance, t.MaintenanceKcal)
		set(&l.over, t.Over)
		set(&l.waterKg, t.WaterKg)
		set(&l.weighEvery, t.WeighEvery)
		set(&l.logsIntake, t.LogsIntake)
		set(&l.liftsPct, t.LiftsPctPerWeek)
	}
}

// weigh reads the scale; the noise is drawn whether or not anybody looks.
func (l *life) weigh(today engine.Day, day int) {
	kg := l.tissueKg + 1.5*l.swing + l.waterKg + l.cycleKg(today) + l.made.NoiseKg*l.r.NormFloat64()
	if l.weighEvery > 0 && day%l.weighEvery == 0 {
		l.log(today, "1", engine.WeighIn{Weight: engine.Kg(math.Round(10*kg) / 10)})
	}
}

// live eats, trains and ends the day.
func (l *life) live(today engine.Day, plan engine.Plan) {
	kcal := l.made.UsualKcal
	target, hasTarget := plan.TargetOn(today)
	if hasTarget {
		kcal = plan.OrdinaryIntakeKcal(target, today)
	}
	if n := target.Refeed.EveryDays; n > 0 && today >= l.refed+engine.Day(n) {
		kcal, l.refed = target.Refeed.IntakeKcal, today
		l.log(today, "refeed", engine.Mark{Of: engine.MarkRefeed, TargetKcal: engine.Some(kcal)})
	}
	kcal = math.Round(kcal * (1 + l.over + l.made.Spread*l.r.NormFloat64()))
	if l.logsIntake {
		l.log(today, "1", engine.Intake{Energy: engine.Kcal(kcal)})
	}
	if int(today-plan.Start)%3 == 0 {
		l.train(today)
	}
	for lift := range l.e1rm {
		l.e1rm[lift] *= 1 + l.liftsPct/100/7
	}
	change := kcal - l.made.MaintenanceKcal
	spent := l.maintenance + 0.10*change + l.adapt + 0.72*target.ActivityKcal + 22*(l.tissueKg-l.made.StartKg)
	l.tissueKg += (kcal - spent) / 7600
	l.adapt += (0.14*change - l.adapt) / 14
	l.swing = 0.45*l.swing + 0.55*change/1000
}

// train logs three sets of five a lift, at the load that the day's strength
// gives (Epley).
func (l *life) train(today engine.Day) {
	for _, lift := range sorted(l.e1rm) {
		load := math.Round(2*l.e1rm[lift]*(1+0.01*l.r.NormFloat64())/(1+5.0/30)) / 2
		for i := range 3 {
			l.log(today, fmt.Sprintf("%s-%d", lift, i+1), engine.LiftSet{Lift: lift, Load: engine.Kg(load), Reps: 5})
		}
	}
}

// cycleKg rises over the week before a period and is gone five days into it.
func (l *life) cycleKg(today engine.Day) float64 {
	c := l.made.Cycle
	if c == nil {
		return 0
	}
	first, _ := engine.ParseDay(c.First)
	day := (int(today-first)%c.Every + c.Every) % c.Every // of the cycle, counted from 0
	if day == 0 {
		l.log(today, "period-start", engine.Mark{Of: engine.MarkPeriodStart})
	}
	return c.Kg * max(1-float64(day)/5, 1-float64(c.Every-day)/7, 0)
}

func (l *life) log(day engine.Day, key string, fact engine.Fact) {
	e := engine.Entry{Day: day, Key: key, Fact: fact}
	at, _ := find(l.out, e.ID())
	l.out = slices.Insert(l.out, at, e)
}

func sorted[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
