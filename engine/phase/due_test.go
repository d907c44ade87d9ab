package phase

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"example.com/steelyard/engine"
)

// dueOf asks of a log that begins with the plan: one weight and one intake a day,
// 0 where there is none.
func dueOf(kg, kcal []float64, p engine.Profile, plan engine.Plan) []Due {
	w := engine.Window{First: plan.Start, Days: make([]engine.WindowDay, max(len(kg), len(kcal)))}
	var first []float64
	for i, v := range kg {
		if v != 0 {
			w.Days[i].WeightKg = engine.Some(v)
			if len(first) < DueFirstReadings {
				first = append(first, v)
			}
		}
	}
	for i, v := range kcal {
		if v != 0 {
			w.Days[i].IntakeKcal = engine.Some(v)
		}
	}
	return DueTalks(w, first, p, plan)
}

// short writes a list by reason and days from the plan's start on.
func short(due []Due, reasons ...DueReason) string {
	var out []string
	for _, d := range due {
		if len(reasons) > 0 && !slices.Contains(reasons, d.Reason) {
			continue
		}
		text := fmt.Sprintf("%d:%d", d.Reason, d.From-start)
		if d.Until.OK {
			text += fmt.Sprintf("-%d", d.Until.Day-start)
		}
		out = append(out, text)
	}
	return strings.Join(out, " ")
}

func days(n int, v float64) []float64 { return slices.Repeat([]float64{v}, n) }

func wantDue(t *testing.T, what string, got []Due, want string, reasons ...DueReason) {
	t.Helper()
	if text := short(got, reasons...); text != want {
		t.Errorf("%s: %q, want %q", what, text, want)
	}
}

func TestDueByPlan(t *testing.T) {
	decided := func(from engine.Day, a engine.Action) engine.Decision {
		return engine.Decision{From: start + from, Action: a, Target: engine.Target{IntakeKcal: 2200}}
	}
	for _, c := range []struct {
		what string
		kg   []float64
		edit func(*engine.Plan)
		want string // 1 is a review, 2 a silence, 3 a caution
	}{
		{"nothing logged yet", nil, func(*engine.Plan) {}, "2:4 1:10"},
		{"one reading on the first day", days(1, 90), func(*engine.Plan) {}, "2:4 1:10"},
		{"ten days", days(10, 90), func(*engine.Plan) {}, "1:10 2:13"},
		{"the test is skipped", nil, func(p *engine.Plan) { p.SkipMaintenanceTest = true }, "1:0 2:4"},
		{"the cut has begun", days(11, 90), func(p *engine.Plan) { p.Decisions = []engine.Decision{decided(10, engine.StartDeficit)} }, "2:14 1:20"},
		{"a decision that is yet to hold", days(20, 90), func(p *engine.Plan) {
			p.Decisions = []engine.Decision{decided(10, engine.StartDeficit), decided(25, engine.Hold)}
		}, "2:23 1:32"},
		{"closed", days(10, 90), func(p *engine.Plan) { p.State = engine.PlanClosed }, ""},
		{"finished", days(10, 90), func(p *engine.Plan) { p.Decisions = []engine.Decision{decided(9, engine.Finish)} }, ""},
		{"referred", days(10, 90), func(p *engine.Plan) { p.Decisions = []engine.Decision{decided(9, engine.Refer)} }, "3:9"},
	} {
		plan := engine.DefaultPlan(start)
		c.edit(&plan)
		wantDue(t, c.what, dueOf(c.kg, nil, engine.Profile{}, plan), c.want)
	}
	// What was logged before the plan is no silence in it.
	w := engine.Window{First: start - 30, Days: make([]engine.WindowDay, 11)}
	wantDue(t, "logged before only", DueTalks(w, nil, engine.Profile{}, engine.DefaultPlan(start)), "2:4 1:10")
}

func TestDueReviewIsTheNextReview(t *testing.T) {
	p := cutting(3, 40)
	next := NextReview(p.plan, p.today())
	for _, d := range DueTalks(p.window, []float64{88, 88, 88}, p.profile, p.plan) {
		if d.Reason == DueReview && (d.From != next.Day || d.Until.OK || ReviewDue(p.plan, d.From-1) || !ReviewDue(p.plan, d.From)) {
			t.Errorf("due %+v, next review %s", d, next.Day)
		}
	}
}

func TestDueCautions(t *testing.T) {
	date := func(y, m, d int) engine.OptDay {
		day, _ := engine.DayOf(y, m, d)
		return engine.SomeDay(day)
	}
	man := engine.Profile{Sex: engine.Male, HeightCm: engine.Some(180), BirthDate: date(1990, 1, 1)}
	born := func(d engine.OptDay) engine.Profile { p := man; p.BirthDate = d; return p }
	plan := func(edit func(*engine.Plan)) engine.Plan {
		p := engine.DefaultPlan(start)
		edit(&p)
		return p
	}
	plain := plan(func(*engine.Plan) {})
	ill := man
	ill.Conditions = engine.KidneyDisease
	for _, c := range []struct {
		what    string
		kg      []float64
		kcal    []float64
		profile engine.Profile
		plan    engine.Plan
		want    string
	}{
		{"nobody in particular", days(12, 90), days(12, 2500), man, plain, ""},
		// start is 2026-02-16.
		{"18 on the plan's first day", nil, nil, born(date(2008, 2, 16)), plain, ""},
		{"18 a day later", nil, nil, born(date(2008, 2, 17)), plain, "3:0-0"},
		{"18 in ten days", days(8, 90), nil, born(date(2008, 2, 26)), plain, "3:0-9"},
		{"18 by now", days(20, 90), nil, born(date(2008, 2, 26)), plain, ""},
		{"born on 29 February, 18 on 1 March 2026", nil, nil, born(date(2008, 2, 29)), plain, "3:0-12"},
		{"a condition", nil, nil, ill, plain, "3:0"},
		// 1.80 m: a body mass index of 18.5 (WHO TRS 894, 2000) is 59.94 kg.
		{"light enough", days(12, 60), nil, man, plain, ""},
		{"too light since the start", days(12, 59.9), nil, man, plain, "3:0"},
		{"too light from the second low reading of three on", []float64{60, 60, 60, 59.9, 59.9, 59.9}, nil, man, plain, "3:4"},
		{"once, and no more", []float64{60, 60, 60, 59.9, 59.9, 60, 60}, nil, man, plain, ""},
		{"goal high enough", nil, nil, man, plan(func(p *engine.Plan) { p.GoalWeightKg = engine.Some(60) }), ""},
		{"goal too low", nil, nil, man, plan(func(p *engine.Plan) { p.GoalWeightKg = engine.Some(59.9) }), "3:0"},
		{"goal lean enough", nil, nil, man, plan(func(p *engine.Plan) { p.GoalBodyFatPct = engine.Some(5) }), ""},
		{"goal too lean", nil, nil, man, plan(func(p *engine.Plan) { p.GoalBodyFatPct = engine.Some(4.9) }), "3:0"}, // ACE 2009, see goalTooLean
		// A man's floor is at least 1500 kcal/d (AHA/ACC/TOS 2013), and 0.95 of resting
		// energy, 0.9 of maintenance at most; without a weight 1500 it is, 0.85 of it 1275.
		{"seven days just over", nil, days(7, 1275), man, plain, ""},
		{"seven days under", nil, days(7, 1274), man, plain, "3:6-33"},
		{"six days are too few", nil, days(6, 700), man, plain, ""},
		{"ten days", nil, days(10, 1274), man, plain, "3:6-36"},
		{"days without a log between", nil, []float64{1274, 0, 1274, 1274, 0, 0, 1274, 1274, 1274, 1274}, man, plain, "3:9-36"},
		{"eating more again", nil, append(days(10, 1200), 1800), man, plain, ""},
		{"of a woman the floor is lower", nil, days(7, 1274), engine.Profile{Sex: engine.Female}, plain, ""},
		{"of unknown sex the least one counts", nil, days(7, 679), engine.Profile{}, plain, "3:6-33"}, // 0.85 of 800
		{"and no more", nil, days(7, 681), engine.Profile{}, plain, ""},
		{"a plan's own floor is no matter of safety", nil, days(7, 1400), man, plan(func(p *engine.Plan) { p.IntakeFloorKcal = engine.Some(2000) }), ""},
		{"referral lifted", days(9, 90), nil, man, plan(func(p *engine.Plan) {
			p.Decisions = []engine.Decision{{From: start + 1, Action: engine.Refer}, {From: start + 3, Action: engine.Hold}}
		}), ""},
		{"two at once", nil, days(7, 700), ill, plain, "3:0 3:6-33"},
	} {
		got := dueOf(c.kg, c.kcal, c.profile, c.plan)
		wantDue(t, c.what, got, c.want, DueCaution)
	}
}

// A warning sign is due from its day on for four weeks, the last one counting.
func TestDueWarningSign(t *testing.T) {
	for _, m := range []engine.MarkKind{engine.MarkFainting, engine.MarkPalpitations, engine.MarkMissedPeriod} {
		w := engine.Window{First: start, Days: make([]engine.WindowDay, 40)}
		w.Days[20].Marks = engine.MarkSet(0).With(m)
		wantDue(t, "one", DueTalks(w, nil, engine.Profile{}, engine.DefaultPlan(start)), "3:20-47", DueCaution)
		w.Days[25].Marks = engine.MarkSet(0).With(m).With(engine.MarkTravel)
		wantDue(t, "two", DueTalks(w, nil, engine.Profile{}, engine.DefaultPlan(start)), "3:25-52", DueCaution)
	}
	w := engine.Window{First: start, Days: make([]engine.WindowDay, 40)}
	w.Days[39].Marks = engine.MarkSet(0).With(engine.MarkIllness)
	w.Days[10].Marks = engine.MarkSet(0).With(engine.MarkFainting) // 29 days before the last entry
	wantDue(t, "long ago, and none", DueTalks(w, nil, engine.Profile{}, engine.DefaultPlan(start)), "", DueCaution)
}

// What refers in a recommendation is a caution on the list from the same rules,
// and the other way round; a safety rule that is added has to be thought of here.
func TestDueCautionsAreTheSafetyRules(t *testing.T) {
	listed := []string{"underage", "declared-condition", "underweight", "goal-underweight", "goal-too-lean", "warning-sign", "referral-recorded"}
	recommended := []string{"unexplained-loss"} // rests on an estimate
	for _, r := range safetyRules() {
		if !slices.Contains(listed, r.name) && !slices.Contains(recommended, r.name) {
			t.Errorf("the list of who is due knows nothing of %s", r.name)
		}
	}
	r := rand.New(rand.NewPCG(1, 2))
	both := map[bool]int{}
	for range 400 {
		plan := engine.DefaultPlan(start)
		if r.IntN(3) == 0 {
			plan.GoalWeightKg = engine.Some(58 + 4*r.Float64())
		}
		if r.IntN(4) == 0 {
			plan.GoalBodyFatPct = engine.Some(4 + 8*r.Float64())
		}
		if r.IntN(6) == 0 {
			plan.Decisions = []engine.Decision{{From: start + engine.Day(r.IntN(5)), Action: engine.Refer}}
		}
		p := engine.Profile{Sex: engine.Male, HeightCm: engine.Some(180), BirthDate: engine.SomeDay(start - 6566 - engine.Day(r.IntN(20)))} // 18 on day 8 or before
		if r.IntN(6) == 0 {
			p.Conditions = engine.Condition(1 << r.IntN(6))
		}
		w := engine.Window{First: start, Days: make([]engine.WindowDay, 12)}
		base := 58 + 20*r.Float64()
		var first []float64
		for i := range w.Days {
			kg := base + r.NormFloat64()
			w.Days[i] = engine.WindowDay{WeightKg: engine.Some(kg), Readings: 1, IntakeKcal: engine.Some(2500)}
			if i < 3 {
				first = append(first, kg)
			}
		}
		if r.IntN(6) == 0 {
			w.Days[r.IntN(12)].Marks = engine.MarkSet(0).With(engine.MarkFainting)
		}
		asOf := w.End() - 1
		isListed := slices.ContainsFunc(DueTalks(w, first, p, plan), func(d Due) bool {
			return d.Reason == DueCaution && d.From <= asOf && (!d.Until.OK || asOf <= d.Until.Day)
		})
		isReferred := false
		f := newFacts(w, p, plan, asOf)
		for _, rule := range safetyRules() {
			if _, ok := rule.ask(f); ok && slices.Contains(listed, rule.name) {
				isReferred = true
			}
		}
		if isListed != isReferred {
			t.Errorf("listed %v, referred %v: %+v %+v", isListed, isReferred, p, plan)
		}
		both[isListed]++
	}
	if both[true] < 50 || both[false] < 50 {
		t.Errorf("%v: one side is hardly tested", both)
	}
}

func TestDueMilestones(t *testing.T) {
	plan := engine.DefaultPlan(start)
	towards := func(kg float64) engine.Plan { p := plan; p.GoalWeightKg = engine.Some(kg); return p }
	join := slices.Concat[[]float64]
	for _, c := range []struct {
		what string
		kg   []float64
		plan engine.Plan
		want string
	}{
		{"nothing lost", days(20, 100), plan, ""},
		{"2.5 % by two of three readings", join(days(10, 100), days(2, 97.5)), plan, "4:11-17"},
		{"one low reading is none", join(days(10, 100), days(1, 90), days(3, 100)), plan, ""},
		{"not quite", join(days(10, 100), days(5, 97.51)), plan, ""},
		{"5 % at once is one", join(days(10, 100), days(5, 95)), plan, "4:11-17"},
		{"one after the other", join(days(10, 100), days(4, 97.4), days(4, 94.9)), plan, "4:11-17 4:15-21"},
		{"the first is past by the last entry", join(days(10, 100), days(8, 97.4), days(4, 94.9)), plan, "4:19-25"},
		{"up and down again is none", join(days(3, 100), days(3, 97.4), days(8, 100), days(5, 97.4)), plan, ""},
		{"days without a reading", []float64{100, 0, 100, 0, 0, 100, 97, 0, 97}, plan, "4:8-14"},
		{"too few readings", []float64{100, 90}, plan, ""},
		{"the goal", join(days(5, 80), days(3, 78.9)), towards(79), "4:6-12"},
		{"not the goal yet", join(days(5, 80), days(3, 79.1)), towards(79), ""},
		{"nothing beyond the goal", join(days(5, 80), days(10, 78.9), days(10, 70)), towards(79), ""},
		{"the goal is higher than the start", days(9, 80), towards(85), ""},
		{"a second time under the goal", join(days(3, 80), days(3, 78.9), days(8, 80), days(3, 78.9)), towards(79), ""},
	} {
		wantDue(t, c.what, dueOf(c.kg, nil, engine.Profile{}, c.plan), c.want, DueMilestone)
	}
	for kg, want := range map[float64]string{97.5: "2.5 %", 95: "5 %", 92.5: "7.5 %", 90: "10 %"} {
		got := dueOf(slices.Concat(days(10, 100), days(2, kg)), nil, engine.Profile{}, plan)
		i := slices.IndexFunc(got, func(d Due) bool { return d.Reason == DueMilestone })
		if i < 0 || !strings.HasPrefix(got[i].Line, want+" of the starting weight") {
			t.Errorf("%v kg: %+v", kg, got)
		}
	}
}

// A log of more days than are looked at: the starting weight is that of the plan,
// and what was reached before is not told again.
func TestDueMilestonesOfALongPlan(t *testing.T) {
	plan := engine.DefaultPlan(start)
	w := engine.Window{First: start + 60, Days: make([]engine.WindowDay, 30)}
	for i := range w.Days {
		w.Days[i].WeightKg = engine.Some(95.5)
	}
	first := []float64{100, 99.9, 100.1}
	wantDue(t, "2.5 % long ago", DueTalks(w, first, engine.Profile{}, plan), "", DueMilestone)
	back := engine.Window{First: start + 60, Days: make([]engine.WindowDay, 30)}
	copy(back.Days[27:], w.Days[27:])
	wantDue(t, "after a month without a reading", DueTalks(back, first, engine.Profile{}, plan), "", DueMilestone)
	for i := 26; i < 30; i++ {
		w.Days[i].WeightKg = engine.Some(94.8)
	}
	wantDue(t, "5 % now", DueTalks(w, first, engine.Profile{}, plan), "4:87-93", DueMilestone)
	wantDue(t, "of a starting weight that is not known", DueTalks(w, first[:2], engine.Profile{}, plan), "", DueMilestone)
	plan.GoalWeightKg = engine.Some(96)
	wantDue(t, "past the goal long ago", DueTalks(w, first, engine.Profile{}, plan), "", DueMilestone)
}

// Nobody is congratulated on a loss beside a caution.
func TestDueMilestoneGivesWayToACaution(t *testing.T) {
	kg := slices.Concat(days(10, 100), days(2, 97.5))
	plan := engine.DefaultPlan(start)
	wantDue(t, "well", dueOf(kg, nil, engine.Profile{}, plan), "4:11-17", DueCaution, DueMilestone)
	wantDue(t, "with a condition", dueOf(kg, nil, engine.Profile{Conditions: engine.EatingDisorder}, plan), "3:0", DueCaution, DueMilestone)
	wantDue(t, "eating next to nothing", dueOf(kg, days(12, 500), engine.Profile{}, plan), "3:6-38", DueCaution, DueMilestone)
}

// Only the last days count, so that a longer window gives the same; what is given
// is not changed.
func TestDueTalksLooksAtItsDaysOnly(t *testing.T) {
	p := cutting(5, 100)
	first := []float64{88, 88.2, 87.9}
	plan := p.plan
	want := DueTalks(p.window, first, p.profile, plan)
	short := p.window.Between(p.window.End()-DueDays, p.window.End())
	if got := DueTalks(short, first, p.profile, plan); !slices.Equal(got, want) {
		t.Errorf("of %d days %+v, of %d days %+v", DueDays, got, len(p.window.Days), want)
	}
	// Underweight for 100 days is known for as many days as are looked at.
	light := engine.Profile{HeightCm: engine.Some(180)}
	wantDue(t, "light for long", dueOf(days(100, 55), nil, light, engine.DefaultPlan(start)), "3:72", DueCaution)
	if !slices.Equal(first, []float64{88, 88.2, 87.9}) {
		t.Errorf("the readings were changed: %v", first)
	}
	if !slices.IsSortedFunc(want, func(a, b Due) int { return int(a.From - b.From) }) {
		t.Errorf("not by day: %+v", want)
	}
}

// What the front desk reads is a plain line: no state of health, no sign by its
// name, no blame; a caution defers to licensed practice.
func TestDueLines(t *testing.T) {
	sick := engine.Profile{Sex: engine.Male, HeightCm: engine.Some(180), BirthDate: engine.SomeDay(start - 5000), Conditions: ^engine.Condition(0)}
	plan := engine.DefaultPlan(start)
	plan.GoalWeightKg = engine.Some(50)
	w := engine.Window{First: start, Days: make([]engine.WindowDay, 12)}
	for i := range w.Days {
		w.Days[i] = engine.WindowDay{WeightKg: engine.Some(55), IntakeKcal: engine.Some(600)}
	}
	w.Days[3].Marks = engine.MarkSet(0).With(engine.MarkFainting).With(engine.MarkPalpitations).With(engine.MarkMissedPeriod)
	all := DueTalks(w, nil, sick, plan)
	plan.Decisions = []engine.Decision{{From: start + 2, Action: engine.Refer}}
	all = append(all, DueTalks(w, nil, sick, plan)...)
	all = append(all, DueTalks(engine.Window{}, nil, engine.Profile{}, engine.DefaultPlan(start))...)
	all = append(all, dueOf(slices.Concat(days(10, 100), days(2, 97.5)), nil, engine.Profile{}, engine.DefaultPlan(start))...)
	lines := map[string]bool{}
	for _, d := range all {
		lines[d.Line] = true
		if strings.HasSuffix(d.Line, licensed) != (d.Reason == DueCaution) {
			t.Errorf("%q", d.Line)
		}
		for _, word := range []string{"pregnan", "breast", "disorder", "medication", "kidney", "heart", "faint", "palpitation", "period", "fail", "should have", "forgot", "lazy", "must", "kcal", "kg"} {
			if strings.Contains(strings.ToLower(d.Line), word) {
				t.Errorf("%q says %q", d.Line, word)
			}
		}
		if d.Line == "" || len(d.Line) > 240 || strings.Contains(d.Line, "\n") {
			t.Errorf("%q is no line", d.Line)
		}
	}
	if len(lines) < 11 { // a review, two silences, seven cautions, a milestone
		t.Errorf("%d lines: %v", len(lines), lines)
	}
}

// Nonsense gives no panic.
func TestDueTalksOfNonsense(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	for range 300 {
		w := engine.Window{First: engine.Day(r.IntN(60)) - 30 + start, Days: make([]engine.WindowDay, r.IntN(60))}
		nonsense := func() engine.Opt {
			return engine.Opt{V: []float64{0, -1, 1e300, 80, 79, 500}[r.IntN(6)], OK: r.IntN(4) > 0}
		}
		for i := range w.Days {
			w.Days[i] = engine.WindowDay{WeightKg: nonsense(), IntakeKcal: nonsense(), Marks: engine.MarkSet(r.IntN(1 << 12))}
		}
		plan := engine.Plan{Start: start, State: engine.PlanState(r.IntN(3)), GoalWeightKg: nonsense()}
		for range r.IntN(4) {
			plan.Decisions = append(plan.Decisions, engine.Decision{From: engine.Day(r.IntN(1 << 20)), Action: engine.Action(r.IntN(40))})
		}
		p := engine.Profile{Sex: engine.Sex(r.IntN(4)), HeightCm: nonsense(), BirthDate: engine.OptDay{Day: engine.Day(r.IntN(1<<20) - 1<<19), OK: r.IntN(2) == 0}}
		for _, d := range DueTalks(w, []float64{nonsense().V, nonsense().V, nonsense().V}[:r.IntN(4)], p, plan) {
			if d.Reason == DueUnspecified || d.Until.OK && d.Until.Day < d.From {
				t.Errorf("%+v", d)
			}
		}
	}
}

func BenchmarkDueTalks(b *testing.B) {
	p := cutting(5, 100)
	first := []float64{88, 88.2, 87.9}
	b.ReportAllocs()
	for b.Loop() {
		DueTalks(p.window, first, p.profile, p.plan)
	}
}
