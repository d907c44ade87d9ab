package phase

import "example.com/steelyard/engine"

// Stage is where a plan stands. It is computed from the plan, its decisions and
// the window each time; nothing of it is kept.
type Stage uint8

// Stages.
const (
	StageUnspecified Stage = iota
	NotStarted             // before the plan's first day
	MaintenanceTest        // at maintenance until the first StartDeficit decision
	OpeningDeficit         // from a StartDeficit decision, or from the start when the test is skipped, to the cut's first review
	WeeklyReviews
	Referred     // a safety rule or a Refer decision holds: no targets
	Closed       // the plan is closed
	BaseActivity // the small base of walking is due, or a week old at most
	DietBreak    // from a TakeBreak decision until the cut goes on
	Returning    // from a ReturnToMaintenance decision: up to maintenance, and watching it
	Finished     // from a Finish decision
	Paused       // illness or travel is marked in the last days
)

// StageOf returns the stage of a plan on a day.
func StageOf(w engine.Window, p engine.Profile, plan engine.Plan, asOf engine.Day) Stage {
	f := newFacts(w, p, plan, asOf)
	if f.stage != Closed && len(f.safetyFindings()) > 0 {
		return Referred
	}
	return f.stage
}

// arc is what the decisions in force on a day made of a plan.
type arc struct {
	firstCut    engine.OptDay // the first StartDeficit
	cut         engine.OptDay // the last one: the cut as it stands, or as it stood before a break
	breakStart  engine.OptDay // known on a diet break only
	returnStart engine.OptDay // known from the first ReturnToMaintenance since the last cut
	finished    engine.OptDay // known from a Finish until another StartDeficit
	baseAdded   engine.OptDay // the last AddBaseActivity
	eased       engine.OptDay // the last Ease since the last cut
	last        engine.Decision
	hasLast     bool
}

// arcOf reads the decisions in force on asOf; later ones do not count.
func arcOf(plan engine.Plan, asOf engine.Day) arc {
	var a arc
	for i := range plan.Decisions {
		d := &plan.Decisions[i]
		if d.From > asOf {
			continue
		}
		a.last, a.hasLast = *d, true
		from := engine.SomeDay(d.From)
		switch d.Action {
		case engine.StartDeficit:
			if !a.firstCut.OK {
				a.firstCut = from
			}
			a.cut, a.breakStart, a.returnStart, a.finished, a.eased = from, engine.OptDay{}, engine.OptDay{}, engine.OptDay{}, engine.OptDay{}
		case engine.TakeBreak:
			if !a.breakStart.OK {
				a.breakStart = from
			}
		case engine.ReturnToMaintenance:
			a.breakStart = engine.OptDay{}
			if !a.returnStart.OK {
				a.returnStart = from
			}
		case engine.Finish:
			a.breakStart, a.finished = engine.OptDay{}, from
		case engine.AddBaseActivity:
			a.baseAdded = from
		case engine.Ease:
			a.eased = from
		}
	}
	return a
}

// isCutting reports whether the cut is on: begun, and neither interrupted by a
// break nor over.
func (a arc) isCutting() bool {
	return a.cut.OK && !a.breakStart.OK && !a.returnStart.OK && !a.finished.OK
}

// CutStart returns the day from which the first StartDeficit decision holds.
func CutStart(plan engine.Plan, asOf engine.Day) engine.OptDay { return arcOf(plan, asOf).firstCut }

// stageByPlan is the stage that the plan and its decisions alone say.
func stageByPlan(plan engine.Plan, asOf engine.Day) Stage {
	a := arcOf(plan, asOf)
	switch {
	case plan.State == engine.PlanClosed:
		return Closed
	case asOf < plan.Start:
		return NotStarted
	case a.finished.OK:
		return Finished
	case a.returnStart.OK:
		return Returning
	case a.breakStart.OK:
		return DietBreak
	case a.cut.OK && asOf < a.cut.Day+firstReviewDays:
		return OpeningDeficit
	case a.cut.OK && (isBaseDue(plan, a, asOf) || a.baseAdded.OK && asOf < a.baseAdded.Day+reviewDays):
		return BaseActivity
	case a.cut.OK:
		return WeeklyReviews
	case plan.SkipMaintenanceTest:
		return OpeningDeficit
	}
	return MaintenanceTest
}

// baseLeastKcal is the least that is worth adding as a base, kcal/d; ours.
const baseLeastKcal = 50

// isBaseDue reports whether the plan's base activity is to be added: from day
// 17 of the cut, once, where the activity that is prescribed falls well short of it.
func isBaseDue(plan engine.Plan, a arc, asOf engine.Day) bool {
	return a.isCutting() && asOf >= a.firstCut.Day+baseActivityDays && !a.baseAdded.OK &&
		plan.ActivityLever && plan.BaseActivityKcal-a.last.Target.ActivityKcal >= baseLeastKcal
}

// pauseDays is how long a mark of illness or travel pauses a plan, its own day
// included; common practice, no source.
const pauseDays = 3

var pauseMarks = []struct {
	of   engine.MarkKind
	name string
}{
	{engine.MarkIllness, "illness"},
	{engine.MarkTravel, "travel"},
}

// pausedBy returns the last day of illness or travel that still pauses the
// plan, and which of the two.
func (f *facts) pausedBy() (engine.OptDay, string) {
	for d := f.asOf; d > f.asOf-pauseDays; d-- {
		for _, m := range pauseMarks {
			if f.row(d).Marks.Has(m.of) {
				return engine.SomeDay(d), m.name
			}
		}
	}
	return engine.OptDay{}, ""
}

// stageNow is the stage by the plan, or Paused while it waits for a review that
// illness or travel would spoil.
func (f *facts) stageNow() Stage {
	stage := stageByPlan(f.plan, f.asOf)
	switch stage {
	case MaintenanceTest, OpeningDeficit, BaseActivity, WeeklyReviews:
		if paused, _ := f.pausedBy(); paused.OK {
			return Paused
		}
	}
	return stage
}
