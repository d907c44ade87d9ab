package cohort

import (
	"fmt"
	"math"
	"math/rand/v2"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/physiology"
)

// start is the first day of every plan, a Monday.
const start = engine.Day(20486) // 2026-02-02

// trackedShare of a guess of true maintenance is what a coach expects to see
// in the log.
const trackedShare = 0.94

// person is an invented trainee: a body, habits and a scale.
type person struct {
	number   int
	profile  engine.Profile // what the engine is told
	ageYears int
	heightCm float64
	model    physiology.BodyModel
	startKg  float64

	// leanShare scales the published share of lean tissue in a change: lifters
	// keep more of theirs. An assumption.
	leanShare float64
	// carbSwing is by how much carbohydrate changes more than intake does.
	carbSwing float64
	walkShare float64 // of prescribed walking is spent beyond ordinary life
	// wanderKcal is the SD of the step that true maintenance takes each day in
	// the wandering world.
	wanderKcal float64

	// Habits. Shares are of the target.
	under           float64 // of what is eaten never shows in the log, at the start
	underRange      spread
	eatingCV        float64
	loggedVar       float64 // of the day-to-day variance shows in the log
	weekend         float64 // eaten over the target on Saturday and Sunday
	loggedWeekend   float64 // of that shows in the log
	creep           float64 // of the cut is eaten again in the end; wandering world only
	slipsPerDay     float64 // days with an unlogged extra of 500-1500 kcal
	appetiteKcal    float64 // unlogged, a day and kg lost
	missWeighIns    float64
	missLogs        float64
	gapStart        int // day from which nothing at all is logged
	gapDays         int
	saltyPerDay     float64
	saltyMarked     float64 // of salty meals are marked
	periodDays      float64 // 0 without a cycle
	periodPhase     float64
	marksPeriods    bool
	waterSDKg       float64
	waterCarry      float64 // from a morning to the next
	weekdayKg       float64
	weekdayPhase    float64
	cycleKg         float64
	refeedKg        float64 // beyond what the body model gives
	scaleSDKg       float64
	typingErrorRate float64
}

// newPerson draws one person. It is false for a draw that the body model
// cannot carry.
func newPerson(k Kind, number int, r *rand.Rand) (person, bool) {
	t := k.traits()
	within := func(s spread) float64 { return s.low + (s.high-s.low)*r.Float64() }
	normal := func(mean, sd, low, high float64) float64 {
		return min(max(mean+sd*r.NormFloat64(), low), high)
	}
	p := person{number: number, ageYears: 20 + r.IntN(41)}
	sex := engine.Female
	p.heightCm = normal(165, 6.5, 150, 185)
	if r.IntN(2) == 1 {
		sex = engine.Male
		p.heightCm = normal(178, 7, 160, 200)
	}
	p.heightCm = math.Round(p.heightCm)
	p.startKg = normal(26.5, 3.5, 23, 36) * p.heightCm * p.heightCm / 1e4

	// A fast or slow metabolism counts as more or less activity: the model takes
	// maintenance over the equation's resting energy.
	model, ok := physiology.NewBodyModel(physiology.BodyStart{
		Sex: sex, AgeYears: p.ageYears, WeightKg: p.startKg, HeightCm: p.heightCm,
		PAL: within(spread{1.45, 1.9}) * normal(1, 0.08, 0.8, 1.2),
	})
	p.model = model
	p.leanShare, p.carbSwing, p.walkShare = within(spread{0.2, 1}), within(spread{1, 2}), within(spread{0.5, 1})

	p.underRange = t.under
	p.under = normal(t.underMean, t.underSD, t.under.low, t.under.high)
	p.eatingCV, p.loggedVar = within(t.eatingCV), within(spread{0.3, 0.8})
	p.weekend, p.loggedWeekend = within(spread{0, 0.22}), within(spread{0.3, 1})
	p.slipsPerDay, p.appetiteKcal = within(spread{0, 0.03}), within(spread{0, 20})
	p.missWeighIns, p.missLogs = within(t.missWeighIns), within(t.missLogs)
	p.gapStart = 5 + r.IntN(lifeDays-15)
	if days := 3 + r.IntN(5); r.Float64() < t.gapShare {
		p.gapDays = days
	}

	p.wanderKcal, p.creep = within(spread{10, 15}), within(spread{0, 0.15})

	p.saltyPerDay, p.saltyMarked = within(spread{0, 0.05}), within(spread{0, 1})
	p.waterSDKg, p.waterCarry = within(t.waterKg), within(spread{0.2, 0.6})
	p.weekdayKg, p.weekdayPhase = within(spread{0, 0.2}), within(spread{0, 7})
	p.cycleKg, p.periodPhase = within(spread{0.4, 1.6}), r.Float64()
	period, hasCycle, marks := within(spread{26, 31}), r.Float64() < 0.7, r.Float64() < 0.7
	if sex == engine.Female && p.ageYears < 48 && hasCycle {
		p.periodDays, p.marksPeriods = period, marks
	}
	p.refeedKg = within(spread{0, 0.5})
	p.scaleSDKg, p.typingErrorRate = within(spread{0.05, 0.12}), 0.005

	guess := trackedShare * p.model.IntakeKcal() * normal(1, t.guessSD, 0.5, 1.5)
	birth, _ := engine.DayOf(2026-p.ageYears, 1, 15)
	p.profile = engine.Profile{
		Sex: sex, BirthDate: engine.SomeDay(birth), HeightCm: engine.Some(p.heightCm),
		MaintenanceGuessKcal: engine.Some(math.Round(guess)),
	}
	return p, ok
}

// drawPerson draws until there is a person.
func drawPerson(k Kind, number int, r *rand.Rand) (person, error) {
	for range 100 {
		if p, ok := newPerson(k, number, r); ok {
			return p, nil
		}
	}
	return person{}, fmt.Errorf("person %d: no body that the model can carry", number)
}

// in is the person in a world.
func (p person) in(w World) *person {
	if w == Steady {
		p.wanderKcal, p.creep = 0, 0
	}
	return &p
}

// guessKcal is what the coach and the engine start from, in logged kcal/d.
func (p *person) guessKcal() float64 { return p.profile.MaintenanceGuessKcal.V }
