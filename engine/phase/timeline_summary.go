package phase

import (
	"math"

	"example.com/steelyard/engine"
)

// summary is what the plan has given by asOf; nil while the filter has not
// started or no reading under the plan was used.
func (f *facts) summary() *Summary {
	line, ok := f.measured()
	if !ok {
		return nil
	}
	from, to := line.first, line.last()
	s := &Summary{
		Days:          int(f.asOf-f.plan.Start) + 1,
		StartWeightKg: line.at(from), EndWeightKg: line.at(to),
		LostPct:              100 * (line.at(from) - line.at(to)) / line.at(from),
		StartMaintenanceKcal: f.guess.TrackedKcal(), EndMaintenanceKcal: line.maintenanceKcal,
		RetentionPct: f.strain().RetentionPct,
		Periods:      f.periods(line),
	}
	// A log that is older than the plan knew better than the guess.
	if eve, ok := f.state(f.plan.Start - 1); ok && eve.Started {
		s.StartMaintenanceKcal = eve.MaintenanceKcal
	}
	for i, row := range f.window.Days {
		if f.window.First+engine.Day(i) >= f.plan.Start && row.Marks.Has(engine.MarkRefeed) {
			s.Refeeds++
		}
	}
	var cut lossSum
	for i, d := range f.plan.Decisions {
		from, to := max(d.From, f.plan.Start), f.asOf+1
		if i+1 < len(f.plan.Decisions) {
			to = f.plan.Decisions[i+1].From
		}
		switch a := arcOf(f.plan, d.From); {
		case to <= from:
		case a.isCutting() && d.Action != engine.Refer:
			cut.add(line, from, to)
		case a.breakStart.OK && !a.returnStart.OK:
			s.BreakDays += int(to - from)
		}
	}
	s.MeanRatePctPerWeek = cut.pctPerWeek()
	return s
}

// periods are the days under one target each. A target that a later decision of
// its first day replaced was never in force.
func (f *facts) periods(line measuredLine) []Period {
	var spans []heldSpan
	for _, d := range f.plan.Decisions {
		next := heldSpan{from: max(d.From, f.plan.Start), action: d.Action}
		next.target, next.isHeld = heldTarget(d)
		n := len(spans)
		if n > 0 && spans[n-1].isSame(next) {
			continue
		}
		if n > 0 && spans[n-1].from == next.from {
			n--
			spans = spans[:n]
			if n > 0 && spans[n-1].isSame(next) {
				continue
			}
		}
		spans = append(spans, next)
	}
	var out []Period
	for i, s := range spans {
		to := f.asOf + 1
		if i+1 < len(spans) {
			to = spans[i+1].from
		}
		if !s.isHeld || to <= s.from {
			continue
		}
		var loss lossSum
		loss.add(line, s.from, to)
		out = append(out, Period{
			Start: s.from, End: to - 1, Action: s.action, Target: s.target,
			LostKg: engine.Opt{V: loss.kg, OK: loss.days > 0}, RatePctPerWeek: loss.pctPerWeek(),
		})
	}
	return out
}

// heldSpan is a target from a day on, until the next one.
type heldSpan struct {
	from   engine.Day
	action engine.Action
	target engine.Target
	isHeld bool // false where a decision left no target in force
}

func (s heldSpan) isSame(o heldSpan) bool { return s.isHeld == o.isHeld && s.target == o.target }

// measuredLine is the smoother's trend of a plan's mornings, from the first that
// the filter knows to the last whose reading it used: a weight that was not
// measured is nothing that the plan has given.
type measuredLine struct {
	first           engine.Day
	kg              []float64 // never empty
	maintenanceKcal float64   // on asOf
}

func (f *facts) measured() (measuredLine, bool) {
	_, states, ok := Smooth(f.window, f.profile, &f.plan, f.asOf)
	if !ok {
		return measuredLine{}, false
	}
	var l measuredLine
	used := 0
	for _, s := range states {
		if !s.Started || s.Day < f.plan.Start {
			continue
		}
		if len(l.kg) == 0 {
			l.first = s.Day
		}
		l.kg, l.maintenanceKcal = append(l.kg, s.TrendWeightKg), s.MaintenanceKcal
		if f.isUsed(s.Day) {
			used = len(l.kg)
		}
	}
	l.kg = l.kg[:used]
	return l, used > 0
}

func (l measuredLine) last() engine.Day { return l.first + engine.Day(len(l.kg)-1) }

// reach brings a morning into the line.
func (l measuredLine) reach(d engine.Day) engine.Day { return min(max(d, l.first), l.last()) }

func (l measuredLine) at(d engine.Day) float64 { return l.kg[l.reach(d)-l.first] }

// leastRateDays is how many days a rate is told over: our own, since in fewer
// the noise is larger than the loss.
const leastRateDays = 7

// lossSum adds up what was lost over some days.
type lossSum struct {
	kg   float64
	log  float64 // of the ratio of the weights: the sum of the rates of each day
	days int
}

// add takes in the days from from to to, without to.
func (s *lossSum) add(l measuredLine, from, to engine.Day) {
	s.kg += l.at(from) - l.at(to)
	s.log += math.Log(l.at(from) / l.at(to))
	s.days += int(l.reach(to) - l.reach(from))
}

// pctPerWeek is the mean rate in % of the body weight of the time.
func (s *lossSum) pctPerWeek() engine.Opt {
	if s.days < leastRateDays || math.IsNaN(s.log) || math.IsInf(s.log, 0) {
		return engine.Opt{}
	}
	return engine.Some(700 * s.log / float64(s.days))
}
