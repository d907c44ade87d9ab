package phase

import (
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
)

// Recommendation is the engine's answer for one plan on one morning. What is
// not known is absent: a nil pointer or an Opt that is not OK, never 0.
type Recommendation struct {
	AsOf    engine.Day
	PlanDay int // 1 on the plan's first day, 0 or less before it
	Stage   Stage
	Action  engine.Action

	// ReviewDue says that the plan is to be judged today. NextReview is the day
	// to ask again when this recommendation is followed; unknown when nothing
	// more is to be asked (a referral, a closed plan).
	ReviewDue  bool
	NextReview engine.OptDay

	// Headline is one or two sentences that a coach can repeat.
	Headline string

	Current  *engine.Target // in force today; nil before the first decision
	Proposed *engine.Target // nil when nothing is to change
	Options  []LeverOption  // the ways to make the change, always food, activity, split; empty when no change is called for

	Estimate *balance.Estimate // at the present prescription; nil with too few readings and after a referral

	// Method decided. Both methods' answers are given side by side at a review;
	// nil where one has none. WhyDiffer is empty when they agree.
	Method    engine.Method
	Posterior *MethodAnswer
	Practice  *MethodAnswer
	WhyDiffer string

	// WeekendExtraKcal is the plan's: Saturdays and Sundays get so much over a
	// target, the other days less.
	WeekendExtraKcal float64

	Adherence *Adherence // nil without logged days under a target
	Strain    Strain
	Refeeds   *RefeedProposal    // nil when none are proposed
	Return    *MaintenanceReturn // nil but at a break or at the end

	RestsOn  Basis
	Findings []Finding // most important first
	Cautions []Caution // never empty
}

// MethodAnswer is what one method makes of a review.
type MethodAnswer struct {
	Method           engine.Method
	Action           engine.Action
	RatePctPerWeek   float64    // % of body weight a week, positive = losing: the filter's tendency, or the line's slope
	RateSEPctPerWeek engine.Opt // its standard deviation or standard error
	ChangeKcal       engine.Opt // kcal/d of food that the balance is to move by; negative = less food. Unknown when nothing is to change
	ChangePct        engine.Opt // the same in % of the present intake
	Sentence         string
}

// Adherence is how the last 14 days went against the target, the days before
// its last change and refeeds left out. Each day counts against its own target.
type Adherence struct {
	Days            int     // looked at
	LoggedDays      int     // of these, completely
	TargetKcal      float64 // mean of the logged days, kcal/d
	LoggedKcal      float64
	OverPct         float64    // of the target; negative = under
	IsOver          bool       // beyond the days' own scatter
	WeekendOverKcal engine.Opt // of the last 28 days; unknown with too few of either
}

// Strain is how a trainee bears the plan. Scores are means of the last 14
// days, 1 worst to 5 best.
type Strain struct {
	CheckIns                                 int
	Mean                                     engine.Opt // of all answers
	HungerEase, Energy, Sleep, TrainingDrive engine.Opt
	WasSlog                                  engine.Answer // the latest
	IsHigh                                   bool

	RetentionPct   engine.Opt // median over the lifts, against the weeks before the cut
	LiftsWithTrend int
	FallingLifts   int // of these: their 80 % interval lies under 0
	HardSetsPct    engine.Opt
}

// RefeedProposal is a cadence of days at about maintenance, saved up over the
// ordinary days.
type RefeedProposal struct {
	Target           engine.Target // with the refeeds, the mean as it was
	Earliest         engine.Day
	BumpLowKg        float64 // water on the scale the morning after
	BumpHighKg       float64
	ReadAgainDays    int
	MeanIntakeKcal   float64
	OrdinaryLessKcal float64 // what an ordinary day gives up
}

// MaintenanceReturn is the way up to maintenance, for a break or at the end.
type MaintenanceReturn struct {
	MaintenanceKcal float64 // holds the weight at the present activity, logged kcal/d
	LowKcal         float64 // its 80 % interval
	HighKcal        float64
	Steps           []engine.Target // a week apart
	RegainLowKg     float64         // water and glycogen that come back
	RegainHighKg    float64
	WatchDays       int // at maintenance, until the plan is finished or the break is over
}

// LeverKind is a way of changing the energy balance.
type LeverKind uint8

// Levers.
const (
	LeverUnspecified LeverKind = iota
	LeverFood
	LeverActivity
	LeverSplit
)

// LeverOption is one way to make the change. The possible options of one
// recommendation are worth the same; Recommended is true for one of them.
type LeverOption struct {
	Kind        LeverKind
	Possible    bool
	WhyNot      string // a sentence; empty when possible
	Recommended bool
	Change      *LeverChange // nil when not possible
}

// LeverChange is what an option asks for, against the present target or the
// usual intake, in whole kcal, so that a day and a week agree to the eye.
// Positive means more food or more activity.
type LeverChange struct {
	Target              engine.Target
	FoodKcalPerDay      float64
	FoodKcalPerWeek     float64
	ActivityKcalPerDay  float64
	ActivityKcalPerWeek float64
	// The change of activity as walking, per day; unknown without weight (and
	// height, for steps), and when activity does not change.
	StepsPerDay       engine.Opt
	WalkMinutesPerDay engine.Opt
}

// Basis is what a recommendation rests on.
type Basis struct {
	ReadingsUsed    int // of the whole window
	ReadingsRefused int
	ReadingsLast7   int // used, of the last 7 mornings, today's included
	ReadingsLast14  int
	LoggedLast7     int // complete intake logs of the 7 days before today
	LoggedLast14    int
	LoggedDays      int // of LogDays
	LogDays         int // days before today since the window's first entry, at most 28
}

// Severity orders findings.
type Severity uint8

// Severities.
const (
	SeverityUnspecified Severity = iota
	Info                         // worth knowing
	Notice                       // worth acting on
	Warning                      // it decides, or it concerns safety
)

// Code names a finding or a caution. Codes are stable.
type Code string

// Finding is one thing that was seen, and its numbers.
type Finding struct {
	Code     Code
	Severity Severity
	Day      engine.OptDay // the day it concerns, when there is one
	Sentence string
	Numbers  []Number
}

// Number is a named quantity of a finding.
type Number struct {
	Name  string // snake_case, the unit included where there is one
	Value float64
	Unit  string
}

// Caution is something to be shown beside a recommendation.
type Caution struct {
	Code     Code
	Sentence string
}
