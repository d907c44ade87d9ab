package engine

// Method is how a review is judged. Stored: never reorder.
type Method uint8

// Methods.
const (
	Posterior     Method = iota // the energy-balance filter's probabilities
	PracticeTable               // the coach's hand method; common practice, no source
)

// PlanState says whether a plan is being followed. Stored: never reorder.
type PlanState uint8

// Plan states. A trainee has at most one open plan.
const (
	PlanOpen PlanState = iota
	PlanClosed
)

// Plan is one fat-loss plan. Zero numbers are not defaults: use DefaultPlan.
type Plan struct {
	ID    string
	State PlanState
	Start Day

	GoalWeightKg   Opt
	GoalBodyFatPct Opt

	Method              Method
	SkipMaintenanceTest bool

	BandLowPctPerWeek  float64 // the loss that counts as on track, % of body weight a week
	BandHighPctPerWeek float64
	PacePctPerWeek     float64 // what the plan aims at

	FoodLever        bool    // intake may be changed
	ActivityLever    bool    // prescribed activity may be changed
	BaseActivityKcal float64 // kcal/d of walking to come about day 17 of the cut
	ActivityCapKcal  float64 // prescribed activity never exceeds this, kcal/d
	IntakeFloorKcal  Opt     // raises the built-in floor, never lowers it
	AllowRefeeds     bool    // whether refeeds may be proposed
	// WeekendExtraKcal is eaten on Saturday and on Sunday over the target, and
	// 2/5 of it less on each other day, so that the week stays the same.
	WeekendExtraKcal float64

	Decisions []Decision // ascending by From, then in order of recording
}

// DefaultPlan returns a plan with the usual numbers: a band of 0.5-1 % of body
// weight a week aimed at 0.8 (common practice, no source), both levers, 125
// kcal/d of base activity to come and at most 400 kcal/d of activity.
func DefaultPlan(start Day) Plan {
	return Plan{
		Start:             start,
		BandLowPctPerWeek: 0.5, BandHighPctPerWeek: 1.0, PacePctPerWeek: 0.8,
		FoodLever: true, ActivityLever: true, BaseActivityKcal: 125, ActivityCapKcal: 400, AllowRefeeds: true,
	}
}

// Target is the prescription in force on a day, in kcal/d.
type Target struct {
	IntakeKcal   float64 // of an ordinary day, on average over the week
	ActivityKcal float64 // prescribed activity beyond ordinary life, net of rest
	Refeed       Refeed  // zero: none
}

// Refeed is a prescribed day at about maintenance in every so many.
type Refeed struct {
	EveryDays  int // 0: none
	IntakeKcal float64
}

// MeanIntakeKcal returns the intake averaged over ordinary days and refeeds, kcal/d.
func (t Target) MeanIntakeKcal() float64 {
	if t.Refeed.EveryDays < 1 {
		return t.IntakeKcal
	}
	return t.IntakeKcal + (t.Refeed.IntakeKcal-t.IntakeKcal)/float64(t.Refeed.EveryDays)
}

// Action is what a recommendation asks for, and what a decision answers.
// Stored: never reorder.
type Action uint8

// Actions.
const (
	ActionUnspecified Action = iota
	KeepLogging
	StartDeficit
	Hold
	LowerBalance
	RaiseBalance
	MeetTarget
	AddBaseActivity
	ChangeRefeeds
	Ease
	TakeBreak
	ReturnToMaintenance
	Finish
	Refer
)

// Decision is what the coach or trainee chose. Its target holds from From on.
type Decision struct {
	ID     string
	From   Day // first day on which the target holds
	Action Action
	Target Target
	By     string // who decided; the caller's words
	Note   string
}

// weekendShare of the extra of two days is given up by each of five.
const weekendShare = 2.0 / 5

// OrdinaryIntakeKcal returns what a target asks for on an ordinary day of the
// plan: more on Saturday and Sunday and less on the others where the plan says so.
func (p Plan) OrdinaryIntakeKcal(t Target, d Day) float64 {
	if wd := d.Weekday(); wd == 0 || wd == 6 {
		return t.IntakeKcal + p.WeekendExtraKcal
	}
	return t.IntakeKcal - p.WeekdayLessKcal()
}

// WeekdayLessKcal is what Monday to Friday each give up for the weekend's extra, kcal/d.
func (p Plan) WeekdayLessKcal() float64 { return weekendShare * p.WeekendExtraKcal }

// TargetOn returns the prescription in force on a day: that of the last
// decision from that day or before, and false when there is none yet.
func (p Plan) TargetOn(d Day) (Target, bool) {
	for i := len(p.Decisions) - 1; i >= 0; i-- {
		if dec := &p.Decisions[i]; dec.From <= d {
			return dec.Target, true
		}
	}
	return Target{}, false
}
