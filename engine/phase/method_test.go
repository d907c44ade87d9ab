package phase

import (
	"strings"
	"testing"

	"example.com/steelyard/engine"
)

// Both methods answer at every review; the plan's own decides, but for the
// filter's word that it is too fast.
func TestThePlansMethodDecides(t *testing.T) {
	differed := 0
	for seed := range uint64(60) {
		for _, method := range []engine.Method{engine.Posterior, engine.PracticeTable} {
			p := cutting(seed, 24)
			p.plan.Method = method
			r := p.morning()
			if r.Method != method || r.Posterior == nil || r.Practice == nil || r.Posterior.Method != engine.Posterior || r.Practice.Method != engine.PracticeTable {
				t.Fatalf("seed %d: %+v", seed, r)
			}
			own, other := r.Posterior, r.Practice
			if method == engine.PracticeTable {
				own, other = other, own
			}
			if own.Action != other.Action {
				differed++
				if r.WhyDiffer == "" {
					t.Errorf("seed %d: the methods differ and nothing says why", seed)
				}
			}
			isFast := r.Posterior.Action == engine.RaiseBalance
			isAdded := own.Action == engine.Hold && r.Action == engine.AddBaseActivity
			if r.Action != own.Action && r.Action != engine.MeetTarget && !isFast && !isAdded {
				t.Errorf("seed %d, method %d: action %d, its own answer %d", seed, method, r.Action, own.Action)
			}
			if method == engine.PracticeTable && r.Action == own.Action && !isFast && !strings.HasPrefix(r.Headline, own.Sentence) {
				t.Errorf("seed %d: the table decided but the headline says %q", seed, r.Headline)
			}
		}
	}
	if differed < 20 {
		t.Errorf("the methods differed only %d times: the case is too tame", differed)
	}
}

func TestWhyDiffer(t *testing.T) {
	answer := func(a engine.Action, pct float64) *MethodAnswer {
		return &MethodAnswer{Action: a, ChangePct: engine.Opt{V: pct, OK: pct != 0}}
	}
	for _, c := range []struct {
		a    *answers
		want bool
	}{
		{nil, false},
		{&answers{posterior: answer(engine.Hold, 0)}, false},
		{&answers{answer(engine.Hold, 0), answer(engine.Hold, 0)}, false},
		{&answers{answer(engine.Hold, 0), answer(engine.LowerBalance, -5)}, true},
		{&answers{answer(engine.LowerBalance, -7.4), answer(engine.LowerBalance, -5)}, false},
		{&answers{answer(engine.LowerBalance, -7.5), answer(engine.LowerBalance, -5)}, true},
	} {
		if got := c.a.whyDiffer(); (got != "") != c.want {
			t.Errorf("%+v: %q", c.a, got)
		}
	}
}

// The day to ask again, if the recommendation is followed. The cut began 30
// days before, with a review due 20 days before.
func TestNextReviewOfARecommendation(t *testing.T) {
	for _, c := range []struct {
		what string
		v    verdict
		last engine.Day // of a decision, days ago; 30 for none but the cut
		want engine.Day
	}{
		{"held when due", verdict{action: engine.Hold}, 30, 7},
		{"lowered when due", verdict{action: engine.LowerBalance}, 30, 7},
		{"cut started", verdict{action: engine.StartDeficit}, 30, 10},
		{"too little data", verdict{action: engine.KeepLogging, askAgainDays: 1}, 30, 1},
		{"between reviews", verdict{action: engine.Hold}, 3, 4},
		{"raised between reviews", verdict{action: engine.RaiseBalance}, 3, 7},
	} {
		f := inCut(0.7, 0.1)
		if c.last < 30 {
			f.plan.Decisions = append(f.plan.Decisions, engine.Decision{From: f.asOf - c.last, Action: engine.Hold, Target: *f.current})
		}
		got := f.nextReview(c.v, ReviewDue(f.plan, f.asOf))
		if got != engine.SomeDay(f.asOf+c.want) {
			t.Errorf("%s: in %d days, want %d", c.what, got.Day-f.asOf, c.want)
		}
	}
	f := inCut(0.7, 0.1)
	f.plan.State = engine.PlanClosed
	if got := f.nextReview(verdict{action: engine.KeepLogging}, false); got.OK {
		t.Errorf("closed: %+v", got)
	}
}
