package phase

import (
	"math"

	"example.com/steelyard/engine"
)

// Eating more than the target counts when it is plain beyond the days' own
// scatter: our thresholds, common practice, no source.
const (
	overDays   = 14   // how far back to look, not beyond the last change of the target
	overLeastN = 5    // logged days
	overLeast  = 0.05 // of the target
	overErrors = 2    // standard errors of the mean

	weekendDays     = 28 // how far back the weekend pattern is looked for
	weekendLeastN   = 4  // logged days of the weekend
	weekdayLeastN   = 8
	weekendLeast    = 0.08 // of the target
	weekendOfErrors = 2
)

// adherence compares the logged days with the target in force; nil without
// logged days under one.
func (f *facts) adherence() *Adherence {
	if !f.isCompared {
		f.compared, f.isCompared = f.compare(), true
	}
	return f.compared
}

func (f *facts) compare() *Adherence {
	if f.current == nil || f.current.IntakeKcal <= 0 {
		return nil
	}
	a := &Adherence{}
	var target, eaten float64
	var off scatter
	from := max(f.targetChange(), f.asOf-overDays)
	for d := from; d < f.asOf; d++ {
		a.Days++
		if kcal, want, ok := f.loggedDay(d); ok {
			a.LoggedDays++
			target, eaten = target+want, eaten+kcal
			off.add(kcal/want - 1)
		}
	}
	if a.LoggedDays == 0 {
		return nil
	}
	n := float64(a.LoggedDays)
	a.TargetKcal, a.LoggedKcal = target/n, eaten/n
	a.OverPct = 100 * off.mean()
	a.IsOver = a.LoggedDays >= overLeastN && off.mean() >= overLeast && off.mean() > overErrors*off.se()
	a.WeekendOverKcal = f.weekendOver()
	return a
}

// weekendOver returns how far Saturdays and Sundays lie over the other days,
// each against its own target, kcal/d; unknown with too few of either.
func (f *facts) weekendOver() engine.Opt {
	weekend, week := f.weekScatter()
	if weekend.n < weekendLeastN || week.n < weekdayLeastN {
		return engine.Opt{}
	}
	return engine.Some((weekend.mean() - week.mean()) * f.current.IntakeKcal)
}

// isWeekendPlain reports whether the weekend lies over the week beyond doubt.
func (f *facts) isWeekendPlain() bool {
	weekend, week := f.weekScatter()
	over := weekend.mean() - week.mean()
	return weekend.n >= weekendLeastN && week.n >= weekdayLeastN &&
		over >= weekendLeast && over > weekendOfErrors*math.Hypot(weekend.se(), week.se())
}

// weekScatter is how the logged days of four weeks scatter about their targets,
// each as a share of it.
func (f *facts) weekScatter() (weekend, week scatter) {
	if f.scatters == nil {
		f.scatters = &[2]scatter{}
		f.scatters[0], f.scatters[1] = f.scatterWeeks()
	}
	return f.scatters[0], f.scatters[1]
}

func (f *facts) scatterWeeks() (weekend, week scatter) {
	for d := f.asOf - weekendDays; d < f.asOf; d++ {
		kcal, want, ok := f.loggedDay(d)
		if !ok {
			continue
		}
		if wd := d.Weekday(); wd == 0 || wd == 6 {
			weekend.add(kcal/want - 1)
		} else {
			week.add(kcal/want - 1)
		}
	}
	return weekend, week
}

// loggedDay returns what was eaten on an ordinary day and what its target was;
// false for refeeds, and where either is not known.
func (f *facts) loggedDay(d engine.Day) (kcal, targetKcal float64, ok bool) {
	row := f.row(d)
	t, hasTarget := f.plan.TargetOn(d)
	if !hasTarget || !row.IntakeKcal.OK || row.Marks.Has(engine.MarkRefeed) {
		return 0, 0, false
	}
	want := f.plan.OrdinaryIntakeKcal(t, d)
	return row.IntakeKcal.V, want, want > 0
}

// targetChange is the day from which the present target holds.
func (f *facts) targetChange() engine.Day {
	from := f.plan.Start
	for i := range f.plan.Decisions {
		d := &f.plan.Decisions[i]
		if i == 0 || d.Target != f.plan.Decisions[i-1].Target {
			from = d.From
		}
	}
	return from
}

// scatter is the mean of some numbers and how sure it is.
type scatter struct{ n, sum, squares float64 }

func (s *scatter) add(v float64) { s.n, s.sum, s.squares = s.n+1, s.sum+v, s.squares+v*v }

func (s scatter) mean() float64 {
	if s.n == 0 {
		return 0
	}
	return s.sum / s.n
}

// se is the standard error of the mean; infinite for fewer than two numbers.
func (s scatter) se() float64 {
	if s.n < 2 {
		return math.Inf(1)
	}
	m := s.sum / s.n
	return math.Sqrt(max(s.squares-s.n*m*m, 0) / (s.n - 1) / s.n)
}
