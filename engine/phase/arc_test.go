package phase

import (
	"testing"

	"example.com/steelyard/engine"
)

// A whole arc of an invented trainee, test, cut and reviews, following every
// recommendation: three people who differ in how far their guess is off.
func TestArc(t *testing.T) {
	for _, c := range []struct {
		what        string
		maintenance float64 // true; the guess is 2700
		day40       float64 // what is added to it on day 40: another job
		most        float64 // the true rate that counts as near the band, %/week
		seed        uint64
		want        []engine.Action // each must be reached
	}{
		{"guess too high", 2350, 0, 1.05, 1, []engine.Action{engine.StartDeficit, engine.LowerBalance, engine.Hold}},
		{"guess right", 2700, 0, 1.05, 2, []engine.Action{engine.StartDeficit, engine.Hold}},
		{"guess too low, then more movement", 2900, 700, 1.15, 3, []engine.Action{engine.StartDeficit, engine.RaiseBalance, engine.Hold}},
	} {
		p := newTrainee(c.seed)
		p.maintenance = c.maintenance
		seen := map[engine.Action]int{}
		var last Recommendation
		inBand, days := 0, 0
		for range 95 {
			r := p.morning()
			if r.PlanDay == 40 {
				p.maintenance += c.day40
			}
			checkStage(t, p, r)
			if r.ReviewDue {
				seen[r.Action]++
				t.Logf("%s, day %d: true rate %.2f. %s", c.what, r.PlanDay, p.trueRate(), r.Headline)
				if r.Action == engine.KeepLogging {
					t.Fatalf("%s, day %d: no decision from a full log", c.what, r.PlanDay)
				}
				if last.ReviewDue && r.AsOf != last.NextReview.Day {
					t.Errorf("%s: review on %v, announced for %v", c.what, r.AsOf, last.NextReview.Day)
				}
				last = r
			}
			if r.ReviewDue || r.Current == nil {
				p.follow(r)
				if r.Action == engine.AddBaseActivity && r.PlanDay < 28 {
					t.Errorf("%s: base activity on day %d of the plan", c.what, r.PlanDay)
				}
			}
			if r.PlanDay > 35 && (r.PlanDay < 40 || r.PlanDay > 70 || c.day40 == 0) {
				days++
				if rate := p.trueRate(); rate >= 0.45 && rate <= c.most {
					inBand++
				}
			}
			p.live(1, 0)
		}
		for _, a := range c.want {
			if seen[a] == 0 {
				t.Errorf("%s: action %d was never reached: %v", c.what, a, seen)
			}
		}
		if seen[engine.StartDeficit] != 1 {
			t.Errorf("%s: the cut started %d times", c.what, seen[engine.StartDeficit])
		}
		t.Logf("%s: %d of %d days after day 35 (70 after a change of life) with a true rate of 0.45-%v %%/week", c.what, inBand, days, c.most)
		if inBand < days*8/10 {
			t.Errorf("%s: only %d of %d days near the band", c.what, inBand, days)
		}
	}
}

// checkStage holds the stage against the plan day, with a first cut decision
// on day 11.
func checkStage(t *testing.T, p *trainee, r Recommendation) {
	t.Helper()
	want := MaintenanceTest
	switch {
	case isBaseDue(p.plan, arcOf(p.plan, r.AsOf), r.AsOf) || r.PlanDay > 21 && arcOf(p.plan, r.AsOf).baseAdded.OK && r.AsOf < arcOf(p.plan, r.AsOf).baseAdded.Day+7:
		want = BaseActivity
	case r.PlanDay >= 21:
		want = WeeklyReviews
	case r.PlanDay > 11:
		want = OpeningDeficit
	}
	if r.Stage != want || StageOf(p.window, p.profile, p.plan, r.AsOf) != want {
		t.Errorf("day %d: stage %d, want %d", r.PlanDay, r.Stage, want)
	}
}
