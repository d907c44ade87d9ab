package phase

import (
	"slices"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
	"example.com/steelyard/engine/physiology"
)

// facts is what the rules ask about, worked out once. Everything in it was
// known on the morning of asOf.
type facts struct {
	window  engine.Window // through asOf
	profile engine.Profile
	plan    engine.Plan // with the decisions in force by asOf
	asOf    engine.Day
	arc     arc   // what the decisions made of the plan
	stage   Stage // a safety rule may still refer

	weightKg engine.Opt     // median of the last three readings in the valid range
	current  *engine.Target // in force; nil before the first decision
	present  engine.Target  // in force, or the usual intake
	pace     float64        // what the plan aims at, eased where that was decided, held to 1 kg a week

	track     balance.Track
	guess     balance.Guess
	hasTrack  bool
	estimate  *balance.Estimate // at the present prescription
	floorKcal engine.Opt        // unknown without a sex
	basis     Basis
	answers   *answers // nil until asked for
	bearing   *Strain  // nil until asked for

	compared   *Adherence // once isCompared
	isCompared bool
	scatters   *[2]scatter // of weekend and week; nil until asked for
	rateSaid   string      // of the estimate; empty until asked for

	nothing engine.WindowDay // stands for the days outside the window
}

// maxPaceKgPerWeek is the fastest loss a plan may aim at. Source: the 1-2 lb a
// week of NHLBI's Clinical Guidelines 1998 (NIH 98-4083), rounded up to 1 kg.
const maxPaceKgPerWeek = 1.0

func newFacts(w engine.Window, p engine.Profile, plan engine.Plan, asOf engine.Day) *facts {
	return new(Scratch).facts(w, p, plan, asOf)
}

// facts hold until the next ones are made, but for the estimate, which is its own.
func (m *Scratch) facts(w engine.Window, p engine.Profile, plan engine.Plan, asOf engine.Day) *facts {
	inForce := 0
	for inForce < len(plan.Decisions) && plan.Decisions[inForce].From <= asOf {
		inForce++
	}
	plan.Decisions = plan.Decisions[:inForce]
	f := &facts{window: w.Between(w.First, asOf+1), profile: p, plan: plan, asOf: asOf}
	f.arc = arcOf(plan, asOf)
	f.stage = f.stageNow()
	f.weightKg = presentWeight(f.window)
	f.track, f.guess, f.hasTrack = m.track(f.window, p, &plan, asOf)
	if t, ok := plan.TargetOn(asOf); ok && balance.IsTarget(t) { // an impossible one counts as none
		f.current = &t
		f.present = t
	} else if f.hasTrack {
		f.present.IntakeKcal = f.track.UsualKcal()
	}
	f.pace = plan.PacePctPerWeek
	if f.arc.eased.OK {
		f.pace = easedPace(plan)
	}
	if f.weightKg.OK {
		f.pace = min(f.pace, 100*maxPaceKgPerWeek/f.weightKg.V)
	}
	maintenance := engine.Opt{}
	if f.hasTrack {
		band := balance.Band{LowPctPerWeek: plan.BandLowPctPerWeek, HighPctPerWeek: plan.BandHighPctPerWeek}
		if e, ok := f.track.Estimate(f.expected(), band); ok {
			e.Refused = append([]balance.Refusal(nil), e.Refused...)
			f.estimate = &e
			maintenance = engine.Some(e.MaintenanceKcal)
		} else {
			maintenance = engine.Some(f.guess.TrackedKcal())
		}
	}
	f.floorKcal = floor(p, f.weightKg, asOf, maintenance, plan.IntakeFloorKcal)
	// Where the weekend gets more, the other days get less, and they keep to the floor.
	f.floorKcal.V += plan.WeekdayLessKcal()
	f.basis = f.countBasis()
	return f
}

// expected is the present prescription with the refeeds that are likely to be
// taken worked into its mean: as prescribed at first, then ever more as the log
// has them, so that a trainee who leaves them out is not judged as one who
// takes them. One full cadence counts as taken; common practice, no source.
func (f *facts) expected() engine.Target {
	t := f.present
	if t.Refeed.EveryDays < 1 {
		return t
	}
	from := f.targetChange()
	taken := 1.0
	for d := from; d < f.asOf; d++ {
		if f.row(d).Marks.Has(engine.MarkRefeed) {
			taken++
		}
	}
	share := min(taken/float64(t.Refeed.EveryDays+int(f.asOf-from)), 1)
	return engine.Target{IntakeKcal: t.IntakeKcal + share*(t.Refeed.IntakeKcal-t.IntakeKcal), ActivityKcal: t.ActivityKcal}
}

// presentWeight is the median of the last three readings that can be a weight:
// one typing error does not move it far.
func presentWeight(w engine.Window) engine.Opt {
	kg := make([]float64, 0, 3)
	for i := len(w.Days) - 1; i >= 0 && len(kg) < cap(kg); i-- {
		if r := w.Days[i].WeightKg; balance.IsWeight(r) {
			kg = append(kg, r.V)
		}
	}
	if len(kg) == 0 {
		return engine.Opt{}
	}
	slices.Sort(kg)
	return engine.Some((kg[(len(kg)-1)/2] + kg[len(kg)/2]) / 2)
}

// age returns the completed years on asOf.
func (f *facts) age() (int, bool) {
	return engine.YearsBetween(f.profile.BirthDate.Day, f.asOf), f.profile.BirthDate.OK
}

// row is Window.At without the copy, which costs more than the one field that is
// asked for.
func (f *facts) row(d engine.Day) *engine.WindowDay {
	if i := int(d) - int(f.window.First); i >= 0 && i < len(f.window.Days) {
		return &f.window.Days[i]
	}
	return &f.nothing
}

// state returns the filter's state of a day, and false outside the window.
func (f *facts) state(d engine.Day) (*balance.State, bool) {
	i := int(d - f.window.First)
	if !f.hasTrack || i < 0 || i >= len(f.track.Days) {
		return nil, false
	}
	return &f.track.Days[i], true
}

// isUsed reports whether the filter used a day's reading.
func (f *facts) isUsed(d engine.Day) bool {
	s, ok := f.state(d)
	return ok && f.row(d).WeightKg.OK && s.Refused == balance.ReasonNone
}

// Smooth runs the energy-balance filter for a trainee with the maintenance guess
// that a recommendation would use, and the smoother for the line of past days
// that all readings make, for a chart; plan may be nil. It is false when the
// filter has too few readings to start.
func Smooth(w engine.Window, p engine.Profile, plan *engine.Plan, asOf engine.Day) (balance.Track, []balance.State, bool) {
	in, g, ok := new(Scratch).startOf(w, p, plan, asOf)
	if !ok {
		return balance.Track{}, nil, false
	}
	t, line := balance.Smooth(w.First, in, g)
	return t, line, true
}

func (m *Scratch) track(w engine.Window, p engine.Profile, plan *engine.Plan, asOf engine.Day) (balance.Track, balance.Guess, bool) {
	in, g, ok := m.startOf(w, p, plan, asOf)
	if !ok {
		return balance.Track{}, balance.Guess{}, false
	}
	return m.filter.Run(w.First, in, g), g, true
}

// startOf makes the guess for the weight and the age at the filter's start, so
// that the same log gives the same answer whatever day it is asked on.
func (m *Scratch) startOf(w engine.Window, p engine.Profile, plan *engine.Plan, asOf engine.Day) ([]balance.Input, balance.Guess, bool) {
	in := m.filter.Inputs(w, plan, asOf)
	kg, row, ok := balance.StartWeight(in)
	if !ok {
		return nil, balance.Guess{}, false
	}
	g, ok := guess(p, kg, w.First+engine.Day(row))
	return in, g, ok
}

func guess(p engine.Profile, weightKg float64, on engine.Day) (balance.Guess, bool) {
	g, ok := physiology.MaintenanceGuess(p, weightKg, on)
	return balance.Guess{Kcal: g.Kcal, SDKcal: g.SDKcal, IsTracked: g.Basis == physiology.GuessOwn}, ok
}
