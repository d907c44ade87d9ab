package cohort

import (
	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
)

// The band that plans aim at, % of body weight a week, and how far beyond its
// ends a rate is plainly off.
const (
	bandLow, bandHigh = 0.5, 1.0
	materialPct       = 0.1
	firstReview       = 20 // the day of it, ten days into the cut
	lostShare         = 0.08
)

// course is what a cut came to under one coach. It counts from the first review
// on, day 20.
type course struct {
	daysJudged   int // after day 20
	daysInBand   int // with the true rate in 0.5-1 %
	changes      int // of the balance, up or down, at a review
	falseChanges int // with the true rate in the band, or away from it
	fastCuts     int // lower, with the true rate over 1 %
	misses       int // reviews that held, or only added the base activity, with the true rate under 0.4 or over 1.1 %, and room for a change
	putOff       int // such reviews that asked for more data or to meet the present target first
	lostDay      int // the first with 8 % of the weight lost; 0 when it never was
	days         int // under a target
	daysUnder    int // with the target under the floor of the day that it was set
	isReferred   bool
}

// Nobody goes on with a cut at so little fat, % of weight: common practice, no
// source for the numbers.
const leanMalePct, leanFemalePct = 6, 14

// isLean reports whether there is nothing left to lose, whatever the log says.
func (l *life) isLean() bool {
	least := float64(leanFemalePct)
	if l.profile.Sex == engine.Male {
		least = leanMalePct
	}
	return 100*l.body.FatKg < least*l.body.WeightKg()
}

// follow lives under a coach until the study ends, or until there is nothing
// left to lose.
func follow(p *person, fate []chance, by coach) (course, error) {
	l := newLife(p, fate)
	var c course
	isWaiting, isUnder := false, false
	for day := range fate {
		if l.isLean() {
			break
		}
		l.wake()
		if _, isSet := l.plan.TargetOn(l.today()); (!isSet || phase.ReviewDue(l.plan, l.today())) && !c.isReferred {
			a := by.decide(l)
			if day >= firstReview && !isWaiting {
				c.judge(l.trueRate(), a)
			}
			if a.isNew && a.target.IntakeKcal != l.present().IntakeKcal { // who only walks more keeps an intake that was fine when it was set
				isUnder = a.target.IntakeKcal < a.floorKcal
			}
			c.isReferred = a.isReferred
			isWaiting = l.answer(a)
		}
		c.days++
		if isUnder {
			c.daysUnder++
		}
		if day > firstReview {
			c.daysJudged++
			if rate := l.trueRate(); rate >= bandLow && rate <= bandHigh {
				c.daysInBand++
			}
		}
		if c.lostDay == 0 && l.body.WeightKg() <= (1-lostShare)*p.startKg {
			c.lostDay = day
		}
		if err := l.live(l.refeedKcal()); err != nil {
			return course{}, err
		}
	}
	return c, nil
}

// answer does what the coach says. It is true while the coach waits for more
// data and asks again tomorrow.
func (l *life) answer(a prescription) (isWaiting bool) {
	switch {
	case a.isReferred:
		// The trainee is seen by someone else and goes on as before: those days
		// count, for both coaches.
		return false
	case a.action == engine.KeepLogging && !a.isNew:
		return true
	case a.action == engine.MeetTarget:
		// Who is asked to does better: an assumption.
		l.weekend /= 2
		l.creep /= 2
	}
	l.record(a.action, a.target)
	return false
}

// judge scores an answer against the true rate before it.
func (c *course) judge(rate float64, a prescription) {
	isLower := a.isNew && a.action == engine.LowerBalance
	isRaise := a.isNew && a.action == engine.RaiseBalance
	isChange := isLower || isRaise
	if isChange {
		c.changes++
	}
	if isLower && rate >= bandLow || isRaise && rate <= bandHigh {
		c.falseChanges++
	}
	if isLower && rate > bandHigh {
		c.fastCuts++
	}
	isOff := rate < bandLow-materialPct || rate > bandHigh+materialPct
	switch {
	case isChange || a.isAtFloor || !isOff:
	case a.action == engine.Hold || a.action == engine.AddBaseActivity:
		c.misses++
	default:
		c.putOff++
	}
}
