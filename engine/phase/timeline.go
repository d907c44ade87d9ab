package phase

import "example.com/steelyard/engine"

// Story is a plan's timeline and what the plan has given so far.
type Story struct {
	AsOf     engine.Day
	Stage    Stage
	Events   []Event  // ascending by day
	Summary  *Summary // nil while the filter has not started
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

// Summary is what a plan has given.
type Summary struct {
	Days                 int
	StartWeightKg        float64 // trend
	EndWeightKg          float64
	LostPct              float64
	MeanRatePctPerWeek   engine.Opt // over the days of the cut
	StartMaintenanceKcal float64    // logged kcal/d
	EndMaintenanceKcal   float64
	BreakDays            int
	Refeeds              int
	RetentionPct         engine.Opt
	Periods              []Period
}

// Period is the days under one target.
type Period struct {
	Start, End     engine.Day // both inclusive
	Action         engine.Action
	Target         engine.Target
	LostKg         float64
	RatePctPerWeek engine.Opt // unknown for fewer than seven days
}
