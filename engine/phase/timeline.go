package phase

import (
	"cmp"
	"slices"

	"example.com/steelyard/engine"
)

// Story is a plan's timeline and what the plan has given so far.
type Story struct {
	AsOf     engine.Day
	Stage    Stage
	Events   []Event  // ascending by day, then by kind, then in order of recording
	Summary  *Summary // nil while too little is logged, and after a referral
	Cautions []Caution
}

// EventKind says what an event is. Stored: never reorder.
type EventKind uint8

// Events.
const (
	EventUnspecified EventKind = iota
	EventPlanStart
	EventDecision
	EventPictures
	EventReview
	EventBaseActivity
	EventRefeed
	EventWeighInCadence
	EventBreakEnd
	EventWatchEnd
	EventCheckIn
)

// Event is something that happened, or that is due.
type Event struct {
	Day      engine.Day
	Kind     EventKind
	IsDue    bool          // still to come, or overdue
	Action   engine.Action // of a decision
	Sentence string
}

// Summary is what a plan has given, from its start through its last day: the
// Finish decision's, or the day it is told on. The trend is the smoother's line
// without water, told as far as readings reach.
type Summary struct {
	Days                 int
	StartWeightKg        float64 // trend
	EndWeightKg          float64
	LostPct              float64    // of the starting weight
	MeanRatePctPerWeek   engine.Opt // over the days of the cut; unknown for fewer than seven
	StartMaintenanceKcal float64    // logged kcal/d, as it was believed then
	EndMaintenanceKcal   float64
	BreakDays            int
	Refeeds              int
	RetentionPct         engine.Opt // median over the lifts, against the weeks before the cut
	Periods              []Period
}

// Period is the days under one target, however many decisions left it as it was.
type Period struct {
	Start, End     engine.Day    // both inclusive
	Action         engine.Action // of the decision that began it
	Target         engine.Target
	LostKg         engine.Opt // as far as readings reach; unknown where none do
	RatePctPerWeek engine.Opt // unknown for fewer than seven days
}

// Timeline tells a plan's story on the morning of asOf: what happened, what is
// due next and when, and what the plan has given. It reads what Recommend
// reads, and nothing later. Whatever lies after asOf is told as due. After a
// referral, and for a plan that is closed or finished, nothing is due.
func Timeline(w engine.Window, p engine.Profile, plan engine.Plan, asOf engine.Day) Story {
	f := newFacts(w, p, plan, asOf)
	s := Story{AsOf: asOf, Stage: f.stage, Cautions: GeneralCautions()}
	if f.stage != Closed && len(f.safetyFindings()) > 0 {
		s.Stage = Referred
	}
	last := f
	if f.arc.finished.OK { // what comes after is no longer the plan's
		last = newFacts(w, p, plan, f.arc.finished.Day)
	}
	s.Events = f.pastEvents(last.asOf)
	switch s.Stage {
	case Referred, Closed, Finished:
	default:
		s.Events = append(s.Events, f.dueEvents()...)
	}
	slices.SortStableFunc(s.Events, func(a, b Event) int {
		return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Kind, b.Kind))
	})
	if s.Stage != Referred {
		s.Summary = last.summary()
	}
	return s
}
