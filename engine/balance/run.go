package balance

import (
	"math"
	"slices"

	"example.com/steelyard/engine"
)

// run is the filter on its way through the days.
type run struct {
	filter
	first      engine.Day
	in         []Input
	guess      Guess
	from       start
	canStart   bool
	hasPeriods bool

	refused int     // readings
	used    reading // of the morning, when isUsed
	isUsed  bool
}

// prepare sets a run before its first morning.
func (r *run) prepare(first engine.Day, in []Input, from start, canStart bool, g Guess) {
	*r = run{first: first, in: in, from: from, canStart: canStart && g.isUsable(), guess: g}
	r.hasPeriods = slices.ContainsFunc(in, func(d Input) bool { return d.IsPeriodStart })
	r.ref = g.TrackedKcal()
	r.eater.guessKcal = r.ref
	r.sincePeriod = math.Inf(1)
}

// morning goes on to row i, the rows before it done, and writes down where the
// filter then stands.
func (r *run) morning(i int, s *State) {
	d := &r.in[i]
	if i > 0 {
		r.pass(&r.in[i-1])
	}
	if d.IsPeriodStart {
		r.sincePeriod = 0
	}
	if r.canStart && i == r.from.row {
		r.begin(r.from, r.guess, r.hasPeriods)
	}
	if r.started && d.IsSalty {
		r.p.aa += square(saltySD)
	}
	*s = State{Day: r.first + engine.Day(i)}
	r.isUsed = false
	if d.WeightKg.OK {
		r.take(d.WeightKg, i, s)
	}
	s.ReadingsUsed, s.ReadingsRefused = r.accepted, r.refused
	if r.started {
		o := r.outlook()
		s.tell(&o, r.expectedKcal(d), d.ActivityKcal)
	}
}

// take reads one day's weight if it can be one.
func (r *run) take(weight engine.Opt, row int, s *State) {
	switch {
	case !IsWeight(weight):
		s.Refused = OutOfRange
	case !r.started:
		return
	case r.from.isWild(row, weight.V):
		s.Refused = FarFromFirstReadings
	default:
		if r.isUsed = r.read(weight.V, cycleShape(r.sincePeriod), &r.used); !r.isUsed {
			s.Refused = FarFromExpected
		}
		s.IsDoubtful = r.isUsed && r.used.z > doubtZ
	}
	if !r.isUsed {
		r.refused++
	}
}

// expectedKcal is the intake, in logged kcal/d, that the rate of a day is judged
// at: its target with the usual deviation, or the usual intake without one.
func (f *filter) expectedKcal(d *Input) float64 {
	if d.TargetKcal.OK {
		return d.MeanKcal.Or(d.TargetKcal.V) * (1 + f.eater.over())
	}
	return f.eater.usualKcal()
}
