package phase

import (
	"math"
	"strings"
	"testing"

	"example.com/steelyard/engine"
)

// A decision's target just under, at and over each limit, whoever chose it. The
// floor of a man of 88 kg, 180 cm and 32 years is 0.95 of 10*88 + 6.25*180 -
// 5*32 + 5 = 1850 kcal/d (Mifflin 1990) while maintenance lies far above: 1757.5.
func TestValidateDecision(t *testing.T) {
	at := func(kcal, activity float64) engine.Decision {
		return engine.Decision{Action: engine.LowerBalance, Target: engine.Target{IntakeKcal: kcal, ActivityKcal: activity}}
	}
	steady := func() *trainee {
		p := newTrainee(1)
		p.live(10, 2700)
		setWeights(p, 88)
		return p
	}
	excluded := func() *trainee {
		p := steady()
		p.profile.Conditions = engine.Pregnant
		return p
	}
	empty := func() *trainee {
		p := newTrainee(1)
		p.profile.Conditions = engine.EatingDisorder
		return p
	}
	wronglyGuessed := func() *trainee {
		p := newTrainee(1)
		p.profile.MaintenanceGuessKcal = engine.Some(3600)
		p.live(60, 2700)
		p.profile.Conditions = engine.Pregnant
		return p
	}
	referral := at(1900, 0)
	referral.Action = engine.Refer
	for _, c := range []struct {
		what   string
		who    func() *trainee
		d      engine.Decision
		fields string
	}{
		{"well over the floor", steady, at(2200, 0), ""},
		{"at the floor", steady, at(1757.5, 0), ""},
		{"under the floor", steady, at(1757.4, 0), "target.intake_kcal"},
		{"at the cap", steady, at(2200, 400), ""},
		{"over the cap", steady, at(2200, 400.1), "target.activity_kcal"},
		{"under the floor and over the cap", steady, at(1000, 500), "target.intake_kcal target.activity_kcal"},
		{"no number", steady, at(math.NaN(), 0), "target"},
		{"no end", steady, at(2200, math.Inf(1)), "target"},
		{"excluded, a deficit", excluded, at(2200, 0), "target.intake_kcal"},
		{"excluded, well over maintenance", excluded, at(3200, 0), ""},
		{"excluded, over what the log shows and under the guess", wronglyGuessed, at(3200, 0), ""},
		{"excluded, maintenance unknown", empty, at(3200, 0), "target"},
		{"excluded, maintenance unknown, the referral itself", empty, referral, ""},
	} {
		t.Run(c.what, func(t *testing.T) {
			p := c.who()
			c.d.From = p.today()
			var fields []string
			for _, problem := range ValidateDecision(p.window, p.profile, p.plan, c.d) {
				fields = append(fields, problem.Field)
				if problem.Problem == "" {
					t.Errorf("%s: no words", problem.Field)
				}
			}
			if got := strings.Join(fields, " "); got != c.fields {
				t.Errorf("refused for %q, want %q", got, c.fields)
			}
		})
	}
}

// With and without a plan, with and without enough readings.
func TestEnergyBalance(t *testing.T) {
	p := newTrainee(3)
	p.live(20, 2700)
	b := EnergyBalance(p.window, p.profile, nil, p.today()-1)
	if b.Estimate == nil || b.WhyAbsent != "" {
		t.Fatalf("20 days: no estimate, %q", b.WhyAbsent)
	}
	// Inside the prior's 12 % of the true 2700 of this invented person.
	if m := b.Estimate.MaintenanceKcal; math.Abs(m-2700) > 0.12*2700 {
		t.Errorf("maintenance %.0f kcal/d, the truth is 2700", m)
	}
	if b.GuessKcal != engine.Some(2700) || b.GuessBasis != "The profile's own estimate." {
		t.Errorf("guess %v from %q", b.GuessKcal, b.GuessBasis)
	}

	plan := engine.DefaultPlan(start)
	plan.Decisions = []engine.Decision{{From: start, Action: engine.StartDeficit, Target: engine.Target{IntakeKcal: 2000}}}
	under := EnergyBalance(p.window, p.profile, &plan, p.today()-1)
	if under.Estimate == nil || under.Estimate.RatePctPerWeek <= b.Estimate.RatePctPerWeek {
		t.Errorf("a target of 2000 gives no faster loss than the usual intake: %+v", under.Estimate)
	}

	p.profile = engine.Profile{}
	if own := EnergyBalance(engine.Window{First: start}, newTrainee(3).profile, nil, start+5); own.GuessKcal != engine.Some(2700) {
		t.Errorf("nothing logged, the own estimate: %+v", own)
	}
	none := EnergyBalance(engine.Window{First: start}, p.profile, nil, start+5)
	if none.Estimate != nil || none.WhyAbsent == "" || none.GuessKcal.OK || none.GuessBasis != "" {
		t.Errorf("nothing logged: %+v", none)
	}
	if rough := EnergyBalance(p.window, p.profile, nil, p.today()-1); !strings.Contains(rough.GuessBasis, "Body weight alone") {
		t.Errorf("nothing known but weight: basis %q", rough.GuessBasis)
	}
}
