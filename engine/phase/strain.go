package phase

import (
	"slices"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/strength"
)

// Strain is read from the check-ins of two weeks; the limits are common
// practice, no source.
const (
	strainDays     = 14
	strainAnswers  = 2   // fewer say nothing
	highStrain     = 2.0 // mean score at and under which strain is high
	middlingStrain = 3.0
)

// strain works out how the trainee bears the plan.
func (f *facts) strain() *Strain {
	if f.bearing == nil {
		f.bearing = &Strain{}
		f.bearing.readCheckIns(f)
		f.bearing.readLifts(f)
	}
	return f.bearing
}

func (s *Strain) readCheckIns(f *facts) {
	var all, hunger, energy, sleep, drive scatter
	for d := f.asOf - strainDays + 1; d <= f.asOf; d++ {
		c := f.row(d).CheckIn
		if c == (engine.CheckIn{}) {
			continue
		}
		s.CheckIns++
		if c.WasSlog != engine.Unanswered {
			s.WasSlog = c.WasSlog
		}
		for _, x := range []struct {
			score int
			of    *scatter
		}{{c.HungerEase, &hunger}, {c.Energy, &energy}, {c.Sleep, &sleep}, {c.TrainingDrive, &drive}} {
			if x.score >= 1 && x.score <= 5 {
				x.of.add(float64(x.score))
				all.add(float64(x.score))
			}
		}
	}
	s.HungerEase, s.Energy, s.Sleep, s.TrainingDrive = average(hunger), average(energy), average(sleep), average(drive)
	if all.n >= strainAnswers {
		s.Mean = average(all)
		s.IsHigh = s.Mean.V <= highStrain
	}
}

func (s *Strain) readLifts(f *facts) {
	r := strength.Judge(f.window, f.asOf, f.arc.firstCut)
	kept := make([]float64, 0, len(r.Lifts))
	for i := range r.Lifts {
		l := &r.Lifts[i]
		if l.Retention.Pct.OK {
			kept = append(kept, l.Retention.Pct.V)
		}
		if l.Trend.PctPerWeek.OK {
			s.LiftsWithTrend++
			if l.Trend.HighPctPerWeek.V < 0 {
				s.FallingLifts++
			}
		}
	}
	s.HardSetsPct = r.HardSets.Pct
	if len(kept) > 0 {
		slices.Sort(kept)
		s.RetentionPct = engine.Some((kept[(len(kept)-1)/2] + kept[len(kept)/2]) / 2)
	}
}

func average(s scatter) engine.Opt { return engine.Opt{V: s.mean(), OK: s.n > 0} }
