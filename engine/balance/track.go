package balance

import (
	"math"

	"example.com/steelyard/engine"
)

// Track is a run of the filter: each day, and where it stands at the end.
type Track struct {
	Days []State // one a day of the input

	end     filter
	refused []Refusal
}

// State is the filter on one morning, after that morning's reading.
type State struct {
	Day     engine.Day
	Started bool   // the numbers below are known only then
	Refused Reason // why that day's reading was not used
	// IsDoubtful says that the day's reading was used, but lies so far from what
	// was expected that whoever entered it should be asked.
	IsDoubtful bool

	TrendWeightKg     float64 // see Estimate
	TrendWeightSDKg   float64
	ScaleWeightKg     float64
	MaintenanceKcal   float64
	MaintenanceSDKcal float64
	RatePctPerWeek    float64 // at the target then in force, or at the usual intake when there was none
	RateSDPctPerWeek  float64
}

// Reason says why a reading was not used.
type Reason uint8

// Reasons. ReasonNone means that nothing was refused.
const (
	ReasonNone           Reason = iota
	OutOfRange                  // outside 30..200 kg
	FarFromFirstReadings        // one of the first three, more than 2.5 kg from their median
	FarFromExpected             // does not fit the days around it
)

// String says it in words that follow "refused: ".
func (r Reason) String() string {
	switch r {
	case OutOfRange:
		return "outside the possible range"
	case FarFromFirstReadings:
		return "too far from the other first readings"
	case FarFromExpected:
		return "does not fit the days before it"
	}
	return ""
}

// Refusal is a reading that was not used.
type Refusal struct {
	Day      engine.Day
	WeightKg float64
	Reason   Reason
}

// Run replays the filter over the days from first on. It stands at the last
// day's morning reading: that day's intake is not read. It never fails; with
// too few readings or a guess outside 0..20000 kcal/d no day is Started.
//
// The starting weight is known only in hindsight: the states before the third
// reading already use it.
func Run(first engine.Day, in []Input, g Guess) Track {
	t := Track{Days: make([]State, len(in))}
	begin, canStart := findStart(in)
	canStart = canStart && g.isUsable()
	f := &t.end
	f.ref = g.TrackedKcal()
	f.eater.guessKcal = f.ref
	hasPeriods := false
	for i := range in {
		hasPeriods = hasPeriods || in[i].IsPeriodStart
	}
	sincePeriod := math.Inf(1)
	for i := range in {
		d := &t.Days[i]
		d.Day = first + engine.Day(i)
		if i > 0 {
			f.pass(in[i-1])
			sincePeriod++
		}
		if in[i].IsPeriodStart {
			sincePeriod = 0
		}
		if canStart && i == begin.row {
			f.begin(begin, g, hasPeriods)
		}
		if f.started && in[i].IsSalty {
			f.p[sA][sA] += square(saltySD)
		}
		if in[i].WeightKg.OK {
			d.Refused, d.IsDoubtful = f.take(in[i].WeightKg, begin, i, sincePeriod)
			if d.Refused != ReasonNone {
				t.refused = append(t.refused, Refusal{Day: d.Day, WeightKg: in[i].WeightKg.V, Reason: d.Refused})
			}
		}
		if f.started {
			f.describe(d, in[i])
		}
	}
	return t
}

// take reads one day's weight if it can be one.
func (f *filter) take(weight engine.Opt, s start, row int, sincePeriod float64) (refused Reason, isDoubtful bool) {
	switch {
	case !IsWeight(weight):
		return OutOfRange, false
	case !f.started:
		return ReasonNone, false
	case s.isWild(row, weight.V):
		return FarFromFirstReadings, false
	}
	z, isUsed := f.read(weight.V, cycleShape(sincePeriod))
	if !isUsed {
		return FarFromExpected, false
	}
	return ReasonNone, z > doubtZ
}

// describe writes down where the filter stands on a morning.
func (f *filter) describe(s *State, in Input) {
	s.Started = true
	s.TrendWeightKg, s.TrendWeightSDKg = f.x[sT], math.Sqrt(f.p[sT][sT])
	s.ScaleWeightKg, _ = f.scaleWeight()
	s.MaintenanceKcal, s.MaintenanceSDKcal = f.maintenance()
	kcal := f.eater.usualKcal()
	if in.TargetKcal.OK {
		kcal = in.TargetKcal.V * (1 + f.eater.over())
	}
	s.RatePctPerWeek, s.RateSDPctPerWeek = f.rate(kcal, in.ActivityKcal)
}

// UsualKcal is the intake that stands in where no target is in force: the mean
// of the logged days, the recent ones weighing more, or the guess in tracked
// kcal before there is one.
func (t Track) UsualKcal() float64 { return t.end.eater.usualKcal() }
