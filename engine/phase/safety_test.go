package phase

import (
	"testing"

	"example.com/steelyard/engine"
)

// Each safety rule at, below and above its threshold, asked of a trainee whose
// cut would otherwise start today.
func TestSafetyRules(t *testing.T) {
	date := func(y, m, d int) engine.OptDay {
		day, _ := engine.DayOf(y, m, d)
		return engine.SomeDay(day)
	}
	// The cut is decided on start+10, 2026-02-26. 1.80 m: a body mass index of
	// 18.5 is 59.94 kg.
	mark := func(back engine.Day, m engine.MarkKind) func(*trainee) {
		return func(p *trainee) {
			row := &p.window.Days[p.today()-back-p.window.First]
			row.Marks = row.Marks.With(m)
		}
	}
	for _, c := range []struct {
		what  string
		edit  func(*trainee)
		codes []Code
	}{
		{"nobody in particular", func(*trainee) {}, nil},
		{"18 today", func(p *trainee) { p.profile.BirthDate = date(2008, 2, 26) }, nil},
		{"18 tomorrow", func(p *trainee) { p.profile.BirthDate = date(2008, 2, 27) }, []Code{CodeUnderage}},
		{"born in the future", func(p *trainee) { p.profile.BirthDate = date(2030, 1, 1) }, []Code{CodeUnderage}},
		{"pregnant", func(p *trainee) { p.profile.Conditions = engine.Pregnant }, []Code{CodeCondition}},
		{"breastfeeding", func(p *trainee) { p.profile.Conditions = engine.Breastfeeding }, []Code{CodeCondition}},
		{"eating disorder", func(p *trainee) { p.profile.Conditions = engine.EatingDisorder }, []Code{CodeCondition}},
		{"medication", func(p *trainee) { p.profile.Conditions = engine.GlucoseLoweringMedication }, []Code{CodeCondition}},
		{"kidney", func(p *trainee) { p.profile.Conditions = engine.KidneyDisease }, []Code{CodeCondition}},
		{"heart", func(p *trainee) { p.profile.Conditions = engine.HeartDisease }, []Code{CodeCondition}},
		{"one that has no name yet", func(p *trainee) { p.profile.Conditions = 1 << 15 }, []Code{CodeCondition}},
		{"index of 18.5 and a little", func(p *trainee) { setWeights(p, 60) }, nil},
		{"index under 18.5", func(p *trainee) { setWeights(p, 59.9) }, []Code{CodeUnderweight}},
		{"one low reading among three is an error", func(p *trainee) {
			setWeights(p, 88)
			p.window.Days[9].WeightKg = engine.Some(59)
		}, nil},
		{"goal just high enough", func(p *trainee) { p.plan.GoalWeightKg = engine.Some(60) }, nil},
		{"goal too low", func(p *trainee) { p.plan.GoalWeightKg = engine.Some(59.9) }, []Code{CodeGoalUnderweight}},
		{"fainting yesterday", mark(1, engine.MarkFainting), []Code{CodeWarningSign}},
		{"palpitations", mark(3, engine.MarkPalpitations), []Code{CodeWarningSign}},
		{"a missed period", mark(5, engine.MarkMissedPeriod), []Code{CodeWarningSign}},
		{"illness is none", mark(2, engine.MarkIllness), nil},
		{"referral on record", func(p *trainee) {
			p.plan.Decisions = []engine.Decision{{From: start + 1, Action: engine.Refer, Target: engine.Target{IntakeKcal: 2700}}}
		}, []Code{CodeReferralRecorded}},
		{"referral lifted", func(p *trainee) {
			p.plan.Decisions = []engine.Decision{
				{From: start + 1, Action: engine.Refer, Target: engine.Target{IntakeKcal: 2700}},
				{From: start + 3, Action: engine.Hold, Target: engine.Target{IntakeKcal: 2700}},
			}
		}, nil},
		{"two at once", func(p *trainee) {
			p.profile.Conditions = engine.Pregnant
			mark(1, engine.MarkFainting)(p)
		}, []Code{CodeCondition, CodeWarningSign}},
	} {
		p := newTrainee(4)
		p.live(10, 2700)
		c.edit(p)
		r := p.morning()
		if len(c.codes) == 0 {
			if r.Action == engine.Refer || r.Stage == Referred {
				t.Errorf("%s: referred: %s", c.what, r.Headline)
			}
			continue
		}
		if r.Action != engine.Refer || r.Stage != Referred || StageOf(p.window, p.profile, p.plan, r.AsOf) != Referred {
			t.Errorf("%s: action %d, stage %d", c.what, r.Action, r.Stage)
		}
		if r.Proposed != nil || r.Current != nil || r.Estimate != nil || r.Options != nil || r.Posterior != nil || r.Practice != nil || r.NextReview.OK || r.ReviewDue {
			t.Errorf("%s: a referral still computes: %+v", c.what, r)
		}
		var got []Code
		for _, f := range r.Findings {
			if f.Severity != Warning {
				t.Errorf("%s: %s is not a warning", c.what, f.Code)
			}
			got = append(got, f.Code)
		}
		if !equalCodes(got, c.codes) {
			t.Errorf("%s: %v, want %v", c.what, got, c.codes)
		}
	}
}

func setWeights(p *trainee, kg float64) {
	for i := range p.window.Days {
		p.window.Days[i].WeightKg = engine.Some(kg)
	}
	p.reading = engine.Some(kg)
}

func equalCodes(a, b []Code) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// A warning sign counts for 28 days, today's included, and is found wherever
// the window begins.
func TestWarningSignExpires(t *testing.T) {
	for _, c := range []struct {
		back int
		want engine.Action
	}{{0, engine.Refer}, {27, engine.Refer}, {28, engine.StartDeficit}} {
		p := newTrainee(5)
		p.window.First = start - 30
		p.live(40, 2700)
		w := p.window
		w.Days = append(w.Days, engine.WindowDay{})
		row := &w.Days[40-c.back]
		row.Marks = row.Marks.With(engine.MarkFainting)
		if r := Recommend(w, p.profile, p.plan, p.today()); r.Action != c.want {
			t.Errorf("%d days back: action %d, want %d", c.back, r.Action, c.want)
		}
	}
}

func TestUnexplainedLoss(t *testing.T) {
	// P(rate > 1) is 0.90 at 1 + 1.2816 SD (normal quantile, any table).
	const edge = 1 + 1.2815516*0.1
	for _, c := range []struct {
		what   string
		rate   float64
		stage  Stage
		intake float64 // logged; the guess is 2500
		days   int
		want   bool
	}{
		{"surely over 1 %", edge + 0.001, MaintenanceTest, 2500, 10, true},
		{"not surely", edge - 0.001, MaintenanceTest, 2500, 10, false},
		{"90 % of the guess eaten", 1.5, MaintenanceTest, 2250, 10, true},
		{"less eaten explains it", 1.5, MaintenanceTest, 2249, 10, false},
		{"seven days logged", 1.5, MaintenanceTest, 2500, 7, true},
		{"six are too few", 1.5, MaintenanceTest, 2500, 6, false},
		{"in a cut it is not unexplained", 1.5, WeeklyReviews, 2500, 10, false},
	} {
		f := inCut(c.rate, 0.1)
		f.stage, f.asOf = c.stage, start+10
		f.window = engine.Window{First: start, Days: make([]engine.WindowDay, 11)}
		for i := range c.days {
			f.window.Days[i].IntakeKcal = engine.Some(c.intake)
		}
		if _, got := unexplainedLoss(f); got != c.want {
			t.Errorf("%s: %v", c.what, got)
		}
	}
}

func TestGallstoneCaution(t *testing.T) {
	for _, c := range []struct {
		pctPerWeek float64
		want       bool
	}{{1.499, false}, {1.501, true}} { // of 100 kg
		f := inCut(c.pctPerWeek, 0.1)
		f.estimate.TrendWeightKg = 100
		got := false
		for _, x := range cautionsFor(f) {
			got = got || x.Code == CodeGallstones
		}
		if got != c.want {
			t.Errorf("%v kg a week: caution %v", c.pctPerWeek, got)
		}
	}
}

func TestTargetUnderFloor(t *testing.T) {
	for _, c := range []struct {
		target float64
		want   bool
	}{{1500, false}, {1450, false}, {1449, true}, {900, true}} {
		f := inCut(0.7, 0.2)
		f.current.IntakeKcal = c.target
		v, got := targetUnderFloor(f)
		if got != c.want || got && (v.proposed.IntakeKcal != 1500 || v.action != engine.RaiseBalance) {
			t.Errorf("a target of %v: %v %+v", c.target, got, v)
		}
	}
}
