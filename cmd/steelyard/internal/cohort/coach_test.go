package cohort

import (
	"testing"

	"example.com/steelyard/engine"
)

// cutting is a life so many days into a cut, with a hold due.
func cutting(t *testing.T, days int) (*life, prescription) {
	t.Helper()
	l := handed(t, 0.1, days, 2400)
	now, _ := l.plan.TargetOn(l.today())
	return l, prescription{action: engine.Hold, target: now}
}

// By hand the base activity is added from day 17 of a cut that needs no change.
func TestBaseActivityIsAddedOnceOnTrack(t *testing.T) {
	for days, want := range map[int]float64{16: 0, 17: 125, 24: 125} {
		l, _ := cutting(t, days)
		if a := (hand{}).decide(l); a.target.ActivityKcal != want || a.target.IntakeKcal != 2400 || a.isNew != (want > 0) {
			t.Errorf("day %d: %+v", days, a)
		}
	}
	l, hold := cutting(t, 24)
	hold.target.ActivityKcal = 200
	l.record(engine.LowerBalance, hold.target)
	if a := (hand{}).decide(l); a.target.ActivityKcal != 200 || a.action != engine.Hold {
		t.Errorf("who walks already: %+v", a)
	}
}

func TestRefeeds(t *testing.T) {
	for days := range 60 {
		l, _ := cutting(t, days)
		want := days == 30 || days == 44 || days == 58
		if got := l.refeedKcal(); got.OK != want || want && got.V != 2800 {
			t.Errorf("day %d of the cut: %+v", days, got)
		}
	}
}

func TestAnswers(t *testing.T) {
	l, hold := cutting(t, 24)
	l.weekend, l.creep = 0.2, 0.1
	before := len(l.plan.Decisions)
	if !l.answer(prescription{action: engine.KeepLogging, target: hold.target}) || len(l.plan.Decisions) != before {
		t.Error("waiting for data is a decision")
	}
	if l.answer(prescription{action: engine.Refer, isReferred: true}) || len(l.plan.Decisions) != before {
		t.Error("a referral sets a target")
	}
	if l.answer(prescription{action: engine.MeetTarget, target: hold.target}) || l.weekend != 0.1 || l.creep != 0.05 {
		t.Errorf("asked to meet the target: %v, %v", l.weekend, l.creep)
	}
}
