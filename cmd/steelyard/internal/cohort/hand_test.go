package cohort

import (
	"math"
	"testing"

	"example.com/steelyard/engine"
)

// handed is a man of the hand method whose last readings fall by so many kg a
// day, on a review so many days after the cut began.
func handed(t *testing.T, kgPerDay float64, cutDays, intakeKcal int) *life {
	t.Helper()
	p, _ := anyPerson(t, General, 1)
	p.profile.Sex, p.ageYears, p.heightCm = engine.Male, 30, 180
	p.profile.MaintenanceGuessKcal = engine.Some(2800)
	l := newLife(p, nil)
	for i := range 11 + cutDays {
		l.window.Days = append(l.window.Days, engine.WindowDay{WeightKg: engine.Some(90 - kgPerDay*float64(i))})
	}
	l.plan.Decisions = []engine.Decision{
		{From: start, Action: engine.KeepLogging, Target: engine.Target{IntakeKcal: 2800}},
		{From: start + 10, Action: engine.StartDeficit, Target: engine.Target{IntakeKcal: float64(intakeKcal)}},
	}
	return l
}

func TestHandReview(t *testing.T) {
	const pct = 0.9 / 7 // kg a day that are 1 % of 90 kg a week
	for _, c := range []struct {
		what    string
		loss    float64
		cutDays int
		kcal    int
		action  engine.Action
		food    float64
		walking float64
	}{
		{"on track", 0.7 * pct, 10, 2400, engine.Hold, 2400, 0},
		{"fast: nothing comes back", 1.5 * pct, 10, 2400, engine.Hold, 2400, 0},
		{"standing still: 10 %", 0, 10, 2400, engine.LowerBalance, 2160, 0},
		{"gaining: no more than 10 %", -1 * pct, 10, 2400, engine.LowerBalance, 2160, 0},
		{"a quarter short: 7.5 %", 0.25 * pct, 10, 2400, engine.LowerBalance, 2220, 0},
		{"six readings after the water", 0, 9, 2400, engine.Hold, 2400, 0},
		{"at the floor it is walking", 0, 10, 1790, engine.LowerBalance, 1790, 250},
		{"a little room: both", 0, 10, 1850, engine.LowerBalance, 1790, 175},
	} {
		l := handed(t, c.loss, c.cutDays, c.kcal)
		got := hand{}.decide(l)
		if got.action != c.action || got.target != (engine.Target{IntakeKcal: c.food, ActivityKcal: c.walking}) || got.isNew != (c.action != engine.Hold) {
			t.Errorf("%s: %+v", c.what, got)
		}
	}
	l := handed(t, 0, 10, 1790)
	l.plan.Decisions[1].Target.ActivityKcal = l.plan.ActivityCapKcal
	if got := (hand{}).decide(l); got.action != engine.Hold || !got.isAtFloor || got.isNew {
		t.Errorf("nothing has room: %+v", got)
	}
}

// What no one would take for a weight, and the morning after a refeed, are left
// out of the line.
func TestHandLineLeavesOut(t *testing.T) {
	l := handed(t, 0.1, 12, 2400)
	n := len(l.window.Days)
	l.window.Days[n-3].WeightKg.V += 10
	l.window.Days[n-6].Marks = l.window.Days[n-6].Marks.With(engine.MarkRefeed)
	l.window.Days[n-5].WeightKg.V += 1
	got, ok := l.handLine(start, handReadings, handReadings)
	// The mean of the mornings 14-17, 19, 21 and 22 is 90 kg less 1.771.
	want := 700 * 0.1 / 88.229
	if !ok || math.Abs(got-want) > 1e-4 {
		t.Errorf("%v, %v; want %v", got, ok, want)
	}
}

func TestHandOpening(t *testing.T) {
	const pct = 0.9 / 7
	for loss, want := range map[float64]float64{0.6: 0.10, 0.4: 0.15, 0: 0.15, -0.3: 0.20, -0.6: 0.25} {
		l := handed(t, loss*pct, 0, 2400)
		l.plan.Decisions = l.plan.Decisions[:1]
		got := hand{}.decide(l)
		if got.action != engine.StartDeficit || got.target.IntakeKcal != toFive((1-want)*2800) {
			t.Errorf("loss of %v %%: %+v, want %v off", loss, got, want)
		}
	}
}
