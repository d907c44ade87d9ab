package cohort

import (
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/physiology"
)

func TestJudge(t *testing.T) {
	lower := prescription{action: engine.LowerBalance, isNew: true}
	raise := prescription{action: engine.RaiseBalance, isNew: true}
	hold, base := prescription{action: engine.Hold}, prescription{action: engine.AddBaseActivity, isNew: true}
	floor, wait := prescription{action: engine.Hold, isAtFloor: true}, prescription{action: engine.KeepLogging}
	meet := prescription{action: engine.MeetTarget}
	for _, c := range []struct {
		what string
		rate float64
		p    prescription
		want course
	}{
		{"lower, too slow", 0.49, lower, course{changes: 1}},
		{"lower, in the band", 0.5, lower, course{changes: 1, falseChanges: 1}},
		{"lower, at the top", 1.0, lower, course{changes: 1, falseChanges: 1}},
		{"lower, too fast", 1.01, lower, course{changes: 1, falseChanges: 1, fastCuts: 1}},
		{"raise, too fast", 1.01, raise, course{changes: 1}},
		{"raise, in the band", 1.0, raise, course{changes: 1, falseChanges: 1}},
		{"raise, too slow", 0.3, raise, course{changes: 1, falseChanges: 1}},
		{"hold, plainly slow", 0.39, hold, course{misses: 1}},
		{"hold, a little slow", 0.41, hold, course{}},
		{"hold, a little fast", 1.09, hold, course{}},
		{"hold, plainly fast", 1.11, hold, course{misses: 1}},
		{"hold at the floor", 0.2, floor, course{}},
		{"wait", 0.2, wait, course{putOff: 1}},
		{"meet the target", 0.2, meet, course{putOff: 1}},
		{"meet the target, in the band", 0.7, meet, course{}},
		{"base activity", 0.7, base, course{}},
	} {
		var got course
		got.judge(c.rate, c.p)
		if got != c.want {
			t.Errorf("%s: %+v, want %+v", c.what, got, c.want)
		}
	}
}

// starver prescribes less than anyone may.
type starver struct{ kcal float64 }

func (s starver) decide(l *life) prescription {
	now, isSet := l.plan.TargetOn(l.today())
	p := prescription{action: engine.Hold, target: now}
	if !isSet {
		p = prescription{action: engine.StartDeficit, target: engine.Target{IntakeKcal: s.kcal}, isNew: true, floorKcal: l.floorKcal(l.guessKcal())}
	}
	return p
}

// The figure that has to be 0 can be something else.
func TestDaysUnderTheFloorAreCounted(t *testing.T) {
	p, fate := anyPerson(t, General, 1)
	for kcal, want := range map[float64]int{1000: lifeDays, 2500: 0} {
		c, err := follow(p, fate, starver{kcal})
		if err != nil {
			t.Fatal(err)
		}
		if c.daysUnder != want || c.days != lifeDays {
			t.Errorf("%v kcal: %d of %d days under the floor, want %d", kcal, c.daysUnder, c.days, want)
		}
	}
}

func TestFloor(t *testing.T) {
	p, _ := anyPerson(t, General, 1)
	l := newLife(p, nil)
	l.ageYears, l.heightCm = 30, 180
	for _, c := range []struct {
		sex         engine.Sex
		kg          float64
		maintenance float64
		want        float64
	}{
		// Resting energy by Mifflin: man 1830 kcal/d at 85 kg, 180 cm, 30 years;
		// woman 1514 at 70 kg.
		{engine.Male, 85, 3000, 0.95 * 1830},
		{engine.Male, 85, 1800, 1620},
		{engine.Male, 0, 3000, 1500},
		{engine.Female, 70, 3000, 0.95 * 1514},
		{engine.Female, 0, 3000, 1200},
		{engine.Female, 70, 700, 800},
	} {
		l.profile.Sex = c.sex
		l.window.Days = []engine.WindowDay{{WeightKg: engine.Opt{V: c.kg, OK: c.kg > 0}}}
		if got := l.floorKcal(c.maintenance); got != c.want {
			t.Errorf("%+v: floor %v", c, got)
		}
	}
}

// Who has nothing left to lose leaves, and the days after count for nothing.
func TestLeanPeopleLeave(t *testing.T) {
	p, fate := anyPerson(t, General, 1)
	for _, c := range []struct {
		sex  engine.Sex
		pct  float64
		days int
	}{{engine.Male, 5.9, 0}, {engine.Male, 8, 1}, {engine.Female, 13.9, 0}, {engine.Female, 16, 1}} {
		start := physiology.BodyStart{Sex: c.sex, AgeYears: 30, WeightKg: 70, HeightCm: 170, PAL: 1.6, FatKg: engine.Some(0.7 * c.pct)}
		var ok bool
		if p.model, ok = physiology.NewBodyModel(start); !ok {
			t.Fatal("no model")
		}
		p.profile.Sex = c.sex
		got, err := follow(p, fate, starver{1000})
		if err != nil || min(got.days, 1) != c.days || got.days == lifeDays {
			t.Errorf("%+v: %d days, %v", c, got.days, err)
		}
	}
}

// Days are judged from the day after the first review of the cut on, and a
// referral ends the advice of the engine.
func TestDaysJudged(t *testing.T) {
	p, fate := anyPerson(t, General, 1)
	c, err := follow(p, fate, posterior{})
	if err != nil || c.daysJudged != lifeDays-21 || c.isReferred || c.changes == 0 && c.daysInBand == 0 {
		t.Errorf("%+v, %v", c, err)
	}
	p.profile.Conditions = engine.HeartDisease
	c, err = follow(p, fate, posterior{})
	if err != nil || !c.isReferred || c.changes != 0 || c.misses+c.putOff != 0 {
		t.Errorf("%+v, %v", c, err)
	}
}
