package cohort

import (
	"slices"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
)

// The calendar beside the reviews: common practice, no source. Refeeds are by it
// for both coaches; the engine adds the base activity by its own rule.
const (
	baseActivityDays = 17 // of the cut, until the hand method adds the base activity
	refeedFromDays   = 30 // of the cut, until the first refeed
	refeedEveryDays  = 14
)

// prescription is what a coach answers at a review.
type prescription struct {
	action     engine.Action
	target     engine.Target
	isNew      bool // the target differs from the one in force
	isAtFloor  bool // a change was called for, and nothing had room for it
	isReferred bool
	floorKcal  float64 // of the intake, as known then; where isNew
}

// coach answers on the morning of a review.
type coach interface{ decide(l *life) prescription }

// posterior is the engine: what it recommends is done.
type posterior struct{}

func (posterior) decide(l *life) prescription {
	r := phase.Recommend(l.window, l.profile, l.plan, l.today())
	p := prescription{action: r.Action, isReferred: r.Action == engine.Refer}
	if r.Current != nil {
		p.target = *r.Current
	}
	maintenance := l.guessKcal()
	if r.Estimate != nil {
		maintenance = r.Estimate.MaintenanceKcal
	}
	if r.Proposed != nil {
		p.target, p.isNew, p.floorKcal = *r.Proposed, r.Current == nil || *r.Proposed != *r.Current, l.floorKcal(maintenance)
	}
	p.isAtFloor = slices.ContainsFunc(r.Findings, func(f phase.Finding) bool { return f.Code == phase.CodeAtFloor }) && !p.isNew
	return p
}

// cutStart is the first day of the cut.
func (l *life) cutStart() engine.OptDay { return phase.CutStart(l.plan, l.today()) }

// cutDay is how many days the cut has run, -1 before it.
func (l *life) cutDay() int {
	cut := l.cutStart()
	if !cut.OK {
		return -1
	}
	return int(l.today() - cut.Day)
}

// isBaseActivityDue is so from day 17 of the cut until there is activity.
func (l *life) isBaseActivityDue() bool {
	return l.cutDay() >= baseActivityDays && l.present().ActivityKcal < l.plan.BaseActivityKcal
}

// refeedKcal is today's refeed, at about maintenance as the coach knows it; it
// is not OK on ordinary days.
func (l *life) refeedKcal() engine.Opt {
	day := l.cutDay() - refeedFromDays
	if day < 0 || day%refeedEveryDays != 0 {
		return engine.Opt{}
	}
	return engine.Some(l.testKcal())
}

// record notes a decision from today on.
func (l *life) record(action engine.Action, t engine.Target) {
	l.plan.Decisions = append(l.plan.Decisions, engine.Decision{From: l.today(), Action: action, Target: t, By: "coach"})
}
