package phase

import (
	"math"
	"strings"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
)

func TestNotEnoughData(t *testing.T) {
	enough := Basis{ReadingsLast7: 3, ReadingsLast14: 6, LoggedLast7: 4, LoggedLast14: 7}
	for _, c := range []struct {
		what  string
		edit  func(*facts)
		codes []Code
	}{
		{"just enough", func(*facts) {}, nil},
		{"readings of the week", func(f *facts) { f.basis.ReadingsLast7 = 2 }, []Code{CodeNotEnoughReadings}},
		{"readings of two weeks", func(f *facts) { f.basis.ReadingsLast14 = 5 }, []Code{CodeNotEnoughReadings}},
		{"logs of the week", func(f *facts) { f.basis.LoggedLast7 = 3 }, []Code{CodeNotEnoughLogged}},
		{"logs of two weeks", func(f *facts) { f.basis.LoggedLast14 = 6 }, []Code{CodeNotEnoughLogged}},
		{"nothing", func(f *facts) { f.basis = Basis{} }, []Code{CodeNotEnoughReadings, CodeNotEnoughReadings, CodeNotEnoughLogged, CodeNotEnoughLogged}},
		{"no estimate", func(f *facts) { f.estimate = nil }, []Code{CodeNoEstimate}},
		{"in the test", func(f *facts) { f.stage, f.arc, f.basis.LoggedLast7 = MaintenanceTest, arc{}, 3 }, []Code{CodeNotEnoughLogged}},
		{"test skipped", func(f *facts) { f.stage, f.arc, f.basis = OpeningDeficit, arc{}, Basis{} }, nil},
		{"test skipped, no estimate", func(f *facts) { f.stage, f.arc, f.estimate = OpeningDeficit, arc{}, nil }, []Code{CodeNoEstimate}},
	} {
		f := inCut(0.3, 0.1)
		f.basis = enough
		c.edit(f)
		v, decides := notEnoughData(f)
		var got []Code
		for _, x := range v.findings {
			got = append(got, x.Code)
		}
		if decides != (len(c.codes) > 0) || !equalCodes(got, c.codes) || decides && (v.action != engine.KeepLogging || v.headline == "") {
			t.Errorf("%s: %+v", c.what, v)
		}
	}
}

// logged gives the facts a log of the last days, newest last, in kcal/d.
func logged(f *facts, kcal ...float64) *facts {
	f.window = engine.Window{First: f.asOf - engine.Day(len(kcal)), Days: make([]engine.WindowDay, len(kcal)+1)}
	for i, v := range kcal {
		if v > 0 {
			f.window.Days[i].IntakeKcal = engine.Some(v)
		}
	}
	return f
}

func TestTargetNotMet(t *testing.T) {
	for _, c := range []struct {
		what string
		kcal []float64 // target 2000
		rate float64
		want bool
	}{
		{"5 % over, every day", []float64{2100, 2100, 2100, 2100, 2100}, 0.3, true},
		{"a little less", []float64{2099, 2099, 2099, 2099, 2099}, 0.3, false},
		{"four days only", []float64{2400, 2400, 2400, 2400}, 0.3, false},
		// Mean 10 % over. Deviations of +-s from it: standard error s/sqrt(5), for
		// six days. It is beyond two of them up to s = 0.1118.
		{"over, scattered", []float64{2420, 1980, 2420, 1980, 2420, 1980}, 0.3, true},
		{"over, within the scatter", []float64{2430, 1970, 2430, 1970, 2430, 1970}, 0.3, false},
		{"over but on track", []float64{2400, 2400, 2400, 2400, 2400}, 0.7, false},
		{"over but too fast", []float64{2400, 2400, 2400, 2400, 2400}, 1.5, false},
		{"under", []float64{1700, 1700, 1700, 1700, 1700}, 0.3, false},
		{"gaps do not count", []float64{2200, 0, 2200, 0, 2200, 0, 2200, 0, 2200}, 0.3, true},
	} {
		f := logged(inCut(c.rate, 0.1), c.kcal...)
		v, got := targetNotMet(f)
		if got != c.want || got && (v.action != engine.MeetTarget || v.proposed != nil || v.changeKcal != 0) {
			t.Errorf("%s: %v %+v", c.what, got, v)
		}
	}
}

// Neither a refeed nor a day before the target was changed says anything.
func TestTargetNotMetLooksAtThePresentTarget(t *testing.T) {
	f := logged(inCut(0.3, 0.1), 2300, 2300, 2300, 2300, 2300, 2000, 2000, 2000)
	f.plan.Decisions = append(f.plan.Decisions, engine.Decision{From: f.asOf - 3, Action: engine.LowerBalance, Target: engine.Target{IntakeKcal: 1900}})
	if _, got := targetNotMet(f); got {
		t.Error("days of the old target counted")
	}
	f = logged(inCut(0.3, 0.1), 2000, 2000, 2000, 2000, 2000, 5000)
	f.window.Days[5].Marks = f.window.Days[5].Marks.With(engine.MarkRefeed)
	if a := f.adherence(); a.OverPct != 0 || a.LoggedDays != 5 {
		t.Errorf("with a refeed: %+v", a)
	}
}

func TestGoalReached(t *testing.T) {
	for _, c := range []struct {
		goal engine.Opt
		want bool
	}{{engine.Some(80), true}, {engine.Some(79.9), false}, {engine.Opt{}, false}} {
		f := inCut(0.3, 0.1)
		f.plan.GoalWeightKg = c.goal
		if v, got := goalReached(f); got != c.want || got && v.action != engine.ReturnToMaintenance {
			t.Errorf("goal %v at a trend of 80: %v %+v", c.goal, got, v)
		}
	}
}

func TestProfileIncomplete(t *testing.T) {
	for _, c := range []struct {
		edit func(*engine.Profile)
		word string
	}{
		{func(*engine.Profile) {}, ""},
		{func(p *engine.Profile) { p.Sex = engine.SexUnknown }, "sex"},
		{func(p *engine.Profile) { p.Sex = 7 }, "sex"},
		{func(p *engine.Profile) { p.BirthDate = engine.OptDay{} }, "birth date"},
		{func(p *engine.Profile) { p.HeightCm = engine.Opt{} }, "height"},
		{func(p *engine.Profile) { p.HeightCm = engine.Some(99.9) }, "height"},
		{func(p *engine.Profile) { p.HeightCm = engine.Some(100) }, ""},
		{func(p *engine.Profile) { p.HeightCm = engine.Some(250.1) }, "height"},
	} {
		f := inCut(0.3, 0.1)
		c.edit(&f.profile)
		v, got := profileIncomplete(f)
		if got != (c.word != "") || !strings.Contains(v.headline, c.word) || got && v.action != engine.KeepLogging {
			t.Errorf("%s: %v %+v", c.word, got, v)
		}
	}
}

// The pace is safe whichever method decides: the table never overrules the
// filter when it is sure that the loss is too fast.
func TestTooFastWhicheverMethod(t *testing.T) {
	rate := func(f *facts, table *MethodAnswer) (engine.Action, float64) {
		f.answers = &answers{posterior: f.posteriorReview(), practice: table}
		v, ok := tooFast(f)
		if !ok {
			return engine.ActionUnspecified, 0
		}
		return v.action, v.changeKcal
	}
	lower := &MethodAnswer{Action: engine.LowerBalance, ChangeKcal: engine.Some(-100)}
	raise := &MethodAnswer{Action: engine.RaiseBalance, ChangeKcal: engine.Some(130)}
	for _, c := range []struct {
		what   string
		method engine.Method
		rate   float64
		table  *MethodAnswer
		action engine.Action
		change float64
	}{
		{"filter sure, table says lower", engine.PracticeTable, 1.3, lower, engine.RaiseBalance, 200},
		{"filter sure, no table", engine.PracticeTable, 1.3, nil, engine.RaiseBalance, 200},
		{"table says so, filter not", engine.PracticeTable, 0.8, raise, engine.RaiseBalance, 130},
		{"table says so, the filter decides", engine.Posterior, 0.8, raise, engine.ActionUnspecified, 0},
		{"neither", engine.PracticeTable, 0.8, lower, engine.ActionUnspecified, 0},
	} {
		f := inCut(c.rate, 0.1)
		f.plan.Method = c.method
		if a, kcal := rate(f, c.table); a != c.action || kcal != c.change {
			t.Errorf("%s: action %d, %v kcal", c.what, a, kcal)
		}
	}
}

func TestNotes(t *testing.T) {
	has := func(found []Finding) bool { return len(found) > 0 }
	f := inCut(0.7, 0.1)
	for _, c := range []struct {
		what string
		kcal []float64 // floor 1500
		want bool
	}{
		{"four days under", []float64{1499, 0, 1499, 0, 1499, 0, 1499}, true},
		{"three days under", []float64{0, 0, 1499, 0, 1499, 0, 1499}, false},
		{"at the floor", []float64{1500, 1500, 1500, 1500, 1500, 1500, 1500}, false},
		{"a week ago", []float64{900, 1500, 1500, 1500, 1500, 1500, 1500, 1500}, false},
	} {
		if got := has(eatingUnderFloor(logged(f, c.kcal...), engine.Hold)); got != c.want {
			t.Errorf("under the floor, %s: %v", c.what, got)
		}
	}
	for _, c := range []struct {
		what string
		kcal []float64
		want bool
	}{
		{"two days", []float64{2000, 0, 0, 2000}, false},
		{"three days", []float64{2000, 0, 0, 0, 2000}, true},
		{"three days until today", []float64{2000, 0, 0, 0}, true},
		{"before the first entry", []float64{0, 0, 0, 0, 2000}, false},
		{"long ago", append([]float64{2000, 0, 0, 0, 0}, 2000, 2000, 2000, 2000, 2000, 2000, 2000, 2000, 2000, 2000, 2000, 2000), false},
	} {
		if got := has(logGap(logged(f, c.kcal...), engine.Hold)); got != c.want {
			t.Errorf("gap of %s: %v", c.what, got)
		}
	}
	for _, c := range []struct {
		change engine.Day // how long ago
		want   bool
	}{{0, true}, {3, true}, {4, false}} {
		f := inCut(0.7, 0.1)
		f.plan.Decisions = append(f.plan.Decisions, engine.Decision{From: f.asOf - c.change, Action: engine.LowerBalance, Target: engine.Target{IntakeKcal: 1900}})
		if got := has(waterAfterChange(f, engine.Hold)); got != c.want {
			t.Errorf("water %d days after a change: %v", c.change, got)
		}
		f.plan.Decisions[1].Target.IntakeKcal = 2000
		if has(waterAfterChange(f, engine.Hold)) {
			t.Error("water although the intake did not change")
		}
	}
}

// The zero values, and days far from anything, are answered like all else.
func TestNothingAtAll(t *testing.T) {
	far, _ := engine.DayOf(9999, 12, 31)
	early := start - 2000
	p := cutting(1, 20)
	for _, r := range []Recommendation{
		Recommend(engine.Window{}, engine.Profile{}, engine.Plan{}, 0),
		Recommend(engine.Window{}, p.profile, p.plan, p.today()),
		Recommend(p.window, p.profile, p.plan, far),
		Recommend(p.window, p.profile, p.plan, early),
	} {
		if r.Action != engine.KeepLogging || r.Headline == "" || len(r.Cautions) == 0 || r.Estimate != nil {
			t.Errorf("%+v", r)
		}
	}
	if _, _, ok := Smooth(engine.Window{}, engine.Profile{}, nil, 0); ok {
		t.Error("a line of nothing")
	}
}

func TestWords(t *testing.T) {
	e := &balance.Estimate{RatePctPerWeek: 0.42, RateSDPctPerWeek: 0.1639}
	if got := rateWords(e); got != "a loss of 0.42 % of body weight a week (80 % range 0.21 to 0.63)" {
		t.Error(got)
	}
	e.RatePctPerWeek = -0.10
	if got := rateWords(e); got != "a gain of 0.10 % of body weight a week (80 % range 0.31 gained to 0.11 lost)" {
		t.Error(got)
	}
	for _, c := range []struct{ got, want string }{
		{lossWords(-0.001), "a loss of 0.00 % of body weight a week"},
		{rangeWords(-0.4, -0.1), "0.10 to 0.40 gained"},
		{rangeWords(-0.001, 0.3), "0.00 to 0.30"},
		{chanceWords(0.004), "under 1 %"},
		{chanceWords(0.5), "50 %"},
		{chanceWords(0.999), "over 99 %"},
		{changeWords(&LeverChange{FoodKcalPerDay: -120}), "120 kcal a day less food"},
		{changeWords(&LeverChange{ActivityKcalPerDay: -60}), "60 kcal a day less walking"},
		{changeWords(&LeverChange{FoodKcalPerDay: -60, ActivityKcalPerDay: 60, WalkMinutesPerDay: engine.Some(25)}), "60 kcal a day less food and 60 kcal a day more walking (about 25 minutes)"},
		{targetWords(&LeverChange{Target: engine.Target{IntakeKcal: 2120}, FoodKcalPerDay: -380}), "2120 kcal a day, 380 less than now"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

// Refeeds that are not taken count for less and less, those that are taken stay
// as prescribed: one day in ten, 700 kcal over the others.
func TestRefeedsCountAsTaken(t *testing.T) {
	mean := func(days int, taken ...int) float64 {
		f := inCut(0.7, 0.1)
		f.present.Refeed = engine.Refeed{EveryDays: 10, IntakeKcal: f.present.IntakeKcal + 700}
		f.plan.Decisions = []engine.Decision{{From: f.asOf - engine.Day(days), Target: f.present}}
		f.window = engine.Window{First: f.asOf - engine.Day(days), Days: make([]engine.WindowDay, days)}
		for _, d := range taken {
			f.window.Days[d].Marks = f.window.Days[d].Marks.With(engine.MarkRefeed)
		}
		return f.expected().MeanIntakeKcal() - f.present.IntakeKcal
	}
	for _, c := range []struct{ got, want float64 }{
		{mean(0), 70}, {mean(30), 17.5}, {mean(30, 5, 15, 25), 70}, {mean(60), 10},
	} {
		if math.Abs(c.got-c.want) > 1e-9 {
			t.Errorf("%.2f kcal a day over the ordinary days, want %.2f", c.got, c.want)
		}
	}
}
