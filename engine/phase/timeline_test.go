package phase

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"example.com/steelyard/engine"
)

// decided is a decision of an invented plan, days after its start.
func decided(day engine.Day, a engine.Action, kcal, activityKcal float64) engine.Decision {
	return engine.Decision{From: start + day, Action: a, Target: engine.Target{IntakeKcal: kcal, ActivityKcal: activityKcal}}
}

// storyDecisions are those of a whole plan: a test, a cut, a break, the second
// half of the cut, the way back and the end.
func storyDecisions() []engine.Decision {
	d := []engine.Decision{
		decided(0, engine.KeepLogging, 2700, 0),
		decided(10, engine.StartDeficit, 2150, 0),
		decided(20, engine.LowerBalance, 2050, 0),
		decided(27, engine.AddBaseActivity, 2050, 125),
		decided(34, engine.Hold, 2050, 125),
		decided(41, engine.ChangeRefeeds, 2000, 125),
		decided(62, engine.TakeBreak, 2650, 125),
		decided(72, engine.StartDeficit, 2000, 125),
		decided(100, engine.ReturnToMaintenance, 2300, 125),
		decided(107, engine.ReturnToMaintenance, 2600, 125),
		decided(121, engine.Finish, 2600, 125),
	}
	d[1].By = " the coach "
	d[5].Target.Refeed = engine.Refeed{EveryDays: 14, IntakeKcal: 2650}
	return d
}

// told writes an event as a line: "62 DECISION due: sentence".
func told(e Event) string {
	due := ""
	if e.IsDue {
		due = " due"
	}
	return fmt.Sprintf("%d %s%s: %s", e.Day-start, [...]string{"?", "start", "decision", "pictures", "review", "base", "refeed", "cadence", "break end", "watch end", "check-in"}[e.Kind], due, e.Sentence)
}

// storyWindow is a log of so many days with pictures and refeeds now and then,
// and nothing else.
func storyWindow(days engine.Day) engine.Window {
	w := engine.Window{First: start - 5, Days: make([]engine.WindowDay, days+5)}
	for _, d := range []engine.Day{0, 29, 60} {
		if d < days {
			w.Days[d+5].HasPhotos = true
		}
	}
	for _, d := range []engine.Day{-2, 48, 55} { // one before the plan is none of its own
		if d < days {
			w.Days[d+5].Marks = w.Days[d+5].Marks.With(engine.MarkRefeed)
		}
	}
	return w
}

func TestTimelineEvents(t *testing.T) {
	const (
		begins  = "0 start: The plan begins, with about 10 days at maintenance as a test."
		picture = ": the mirror and the numbers can disagree for a while."
		slog    = ": was it a slog? If so, the pace can be eased."
	)
	past := []string{
		begins,
		"0 decision: Logging goes on: intake 2700 kcal a day.",
		"0 pictures: Pictures were taken.",
		"10 decision: The cut begins: intake from 2700 to 2150 kcal a day. Decided by the coach.",
		"20 decision: The energy balance is lowered: intake from 2150 to 2050 kcal a day.",
		"27 decision: A small base of activity is added: activity from 0 to 125 kcal a day.",
		"29 pictures: Pictures were taken.",
		"34 decision: The course is kept: the target stays as it is.",
		"40 cadence: From 2026-03-28 on a weigh-in every other morning is enough.",
		"41 decision: The refeeds change: intake from 2050 to 2000 kcal a day, a refeed of 2650 kcal every 14 days.",
		"48 refeed: A refeed was taken.",
		"55 refeed: A refeed was taken.",
		"60 pictures: Pictures were taken.",
		"62 decision: A diet break is taken: intake from 2000 to 2650 kcal a day, no more refeeds.",
	}
	cutAgain := "72 decision: The cut goes on: intake from 2650 to 2000 kcal a day."
	secondCut := []string{cutAgain}
	back := []string{cutAgain, "100 decision: The way back to maintenance is taken: intake from 2000 to 2300 kcal a day."}
	for _, c := range []struct {
		what  string
		asOf  engine.Day
		stage Stage
		past  []string
		due   []string // sorted into the past by day, after it on the same day and kind
	}{
		{"before the plan", -4, NotStarted, nil, []string{
			"0 start due: The plan begins on 2026-02-16, with about 10 days at maintenance as a test.",
			"0 pictures due: A set of pictures is due on 2026-02-16" + picture,
			"10 review due: A review is due on 2026-02-26.",
		}},
		{"in the test", 3, MaintenanceTest, past[:3], []string{
			"10 review due: A review is due on 2026-02-26.",
			"28 pictures due: A set of pictures is due on 2026-03-16" + picture,
		}},
		{"early in the cut", 19, OpeningDeficit, past[:4], []string{
			"20 review due: A review is due on 2026-03-08.",
			"27 base due: A small base of activity, about 125 kcal a day, walking first, is due on 2026-03-15.",
			"28 pictures due: A set of pictures is due on 2026-03-16" + picture,
			"38 check-in due: A check-in about the first month is due on 2026-03-26" + slog,
			"40 refeed due: From 2026-03-28 on refeeds can be part of the plan, as often as they help and progress allows.",
			"40 cadence due: From 2026-03-28 on a weigh-in every other morning is enough.",
		}},
		{"the refeeds' first day", 40, WeeklyReviews, past[:9], []string{
			"38 check-in due: A check-in about the first month has been due since 2026-03-26" + slog,
			"40 refeed due: From 2026-03-28 on refeeds can be part of the plan, as often as they help and progress allows.",
			"41 review due: A review is due on 2026-03-29.",
			"57 pictures due: A set of pictures is due on 2026-04-14" + picture,
		}},
		{"pictures overdue, refeeds in force", 58, WeeklyReviews, past[:12], []string{
			"38 check-in due: A check-in about the first month has been due since 2026-03-26" + slog,
			"48 review due: A review has been due since 2026-04-05.",
			"57 pictures due: A set of pictures has been due since 2026-04-14" + picture,
		}},
		{"on the break", 65, DietBreak, past, []string{
			"72 review due: A review is due on 2026-04-29.",
			"72 break end due: The end of the diet break of about 10 days is due on 2026-04-29; then the cut can go on.",
			"88 pictures due: A set of pictures is due on 2026-05-15" + picture,
		}},
		{"the break's last day", 72, DietBreak, past, []string{ // the decision of that day still to come
			"72 review due: A review is due today.",
			"72 break end due: The end of the diet break of about 10 days is due today; then the cut can go on.",
			"88 pictures due: A set of pictures is due on 2026-05-15" + picture,
		}},
		{"cutting again", 80, OpeningDeficit, slices.Concat(past[:8], past[9:], secondCut), []string{
			"82 review due: A review is due on 2026-05-09.",
			"88 pictures due: A set of pictures is due on 2026-05-15" + picture,
			"100 check-in due: A check-in about the first month is due on 2026-05-27" + slog,
			"102 refeed due: From 2026-05-29 on refeeds can be part of the plan, as often as they help and progress allows.",
			"102 cadence due: From 2026-05-29 on a weigh-in every other morning is enough.",
		}},
		{"on the way back", 103, Returning, slices.Concat(past[:8], past[9:], back), []string{
			"88 pictures due: A set of pictures has been due since 2026-05-15" + picture,
			"107 review due: A review is due on 2026-06-03.",
			"121 watch end due: The end of the 21 days of watching the weight at maintenance is due on 2026-06-17; then the plan can be finished.",
		}},
		{"finished", 130, Finished, slices.Concat(past[:8], past[9:], back, []string{
			"107 decision: The way back to maintenance is taken: intake from 2300 to 2600 kcal a day.",
			"121 decision: The plan is finished: the target stays as it is.",
		}), nil},
	} {
		plan := engine.DefaultPlan(start)
		plan.Decisions = storyDecisions()
		if c.asOf == 72 {
			plan.Decisions = plan.Decisions[:7]
		}
		w := storyWindow(c.asOf + 1)
		if c.asOf == 130 { // of the trainee's, but not of the plan's any more
			w.Days[125+5].HasPhotos = true
		}
		s := Timeline(w, newTrainee(1).profile, plan, start+c.asOf)
		var got []string
		for i, e := range s.Events {
			got = append(got, told(e))
			if i > 0 && (e.Day < s.Events[i-1].Day || e.Day == s.Events[i-1].Day && e.Kind < s.Events[i-1].Kind) {
				t.Errorf("%s: %q comes late", c.what, told(e))
			}
			if isDecision := e.Kind == EventDecision; isDecision != (e.Action != engine.ActionUnspecified) {
				t.Errorf("%s: action %d of %q", c.what, e.Action, told(e))
			}
		}
		want := slices.Concat(c.past, c.due)
		slices.Sort(want)
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("%s:\n%s\nwant\n%s", c.what, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		if s.Stage != c.stage || s.AsOf != start+c.asOf || s.Summary != nil || len(s.Cautions) != len(GeneralCautions()) {
			t.Errorf("%s: stage %d, want %d; %+v", c.what, s.Stage, c.stage, s)
		}
	}
}

// dueKinds are those of the due events.
func dueKinds(s Story) []EventKind {
	var kinds []EventKind
	for _, e := range s.Events {
		if e.IsDue {
			kinds = append(kinds, e.Kind)
		}
	}
	return kinds
}

func TestTimelineWhatIsDue(t *testing.T) {
	cut := []engine.Decision{decided(0, engine.StartDeficit, 2100, 0)}
	isDue := func(of EventKind) func(s Story) bool {
		return func(s Story) bool { return slices.Contains(dueKinds(s), of) }
	}
	slogOn := func(day engine.Day, a engine.Answer) func(*engine.Window, *engine.Profile, *engine.Plan) {
		return func(w *engine.Window, _ *engine.Profile, _ *engine.Plan) { w.Days[day].CheckIn.WasSlog = a }
	}
	for _, c := range []struct {
		what   string
		change func(*engine.Window, *engine.Profile, *engine.Plan)
		check  func(Story) bool
		want   bool
	}{
		{"base activity", nil, isDue(EventBaseActivity), true},
		{"no base activity in the plan", func(_ *engine.Window, _ *engine.Profile, p *engine.Plan) { p.BaseActivityKcal = 0 }, isDue(EventBaseActivity), false},
		{"no activity lever", func(_ *engine.Window, _ *engine.Profile, p *engine.Plan) { p.ActivityLever = false }, isDue(EventBaseActivity), false},
		{"base activity added", func(_ *engine.Window, _ *engine.Profile, p *engine.Plan) {
			p.Decisions = append(p.Decisions, decided(18, engine.AddBaseActivity, 2100, 125), decided(25, engine.LowerBalance, 2000, 100))
		}, isDue(EventBaseActivity), false},
		{"base activity after a break", func(_ *engine.Window, _ *engine.Profile, p *engine.Plan) {
			p.Decisions = append(p.Decisions, decided(20, engine.TakeBreak, 2600, 0), decided(30, engine.StartDeficit, 2100, 0))
		}, func(s Story) bool {
			return slices.ContainsFunc(s.Events, func(e Event) bool { return e.Kind == EventBaseActivity && e.Day == start+17 && e.IsDue })
		}, true},
		{"refeeds", nil, isDue(EventRefeed), true},
		{"no refeeds in the plan", func(_ *engine.Window, _ *engine.Profile, p *engine.Plan) { p.AllowRefeeds = false }, isDue(EventRefeed), false},
		{"refeeds count from the cut as it stands", func(_ *engine.Window, _ *engine.Profile, p *engine.Plan) {
			p.Decisions = append(p.Decisions, decided(20, engine.TakeBreak, 2600, 0), decided(30, engine.StartDeficit, 2100, 0))
		}, func(s Story) bool {
			return slices.ContainsFunc(s.Events, func(e Event) bool { return e.Kind == EventRefeed && e.Day == start+60 && e.IsDue })
		}, true},
		{"a cadence is in force", func(_ *engine.Window, _ *engine.Profile, p *engine.Plan) {
			d := decided(31, engine.ChangeRefeeds, 2050, 0)
			d.Target.Refeed = engine.Refeed{EveryDays: 14, IntakeKcal: 2600}
			p.Decisions = append(p.Decisions, d)
		}, isDue(EventRefeed), false},
		{"the first month", nil, isDue(EventCheckIn), true},
		{"the first month, answered on its day", slogOn(28, engine.No), isDue(EventCheckIn), false},
		{"the first month, answered two weeks before", slogOn(15, engine.Yes), isDue(EventCheckIn), false},
		{"the first month, answered too early", slogOn(14, engine.Yes), isDue(EventCheckIn), true},
		{"the first month, answered later", slogOn(34, engine.Yes), isDue(EventCheckIn), false},
		{"another check-in", func(w *engine.Window, _ *engine.Profile, _ *engine.Plan) { w.Days[28].CheckIn.Sleep = 3 }, isDue(EventCheckIn), true},
		{"fewer weigh-ins since day 30", nil, isDue(EventWeighInCadence), false},
		{"no fewer weigh-ins where a break came first", func(_ *engine.Window, _ *engine.Profile, p *engine.Plan) {
			p.Decisions = append(p.Decisions, decided(29, engine.TakeBreak, 2600, 0))
		}, func(s Story) bool {
			return slices.ContainsFunc(s.Events, func(e Event) bool { return e.Kind == EventWeighInCadence })
		}, false},
		{"pictures just before the start", func(w *engine.Window, _ *engine.Profile, p *engine.Plan) {
			p.Start, p.Decisions[0].From, w.Days[8].HasPhotos = start+10, start+10, true
		}, func(s Story) bool {
			return slices.ContainsFunc(s.Events, func(e Event) bool { return e.Kind == EventPictures && e.Day == start+36 && e.IsDue })
		}, true},
		{"pictures long before the start", func(w *engine.Window, _ *engine.Profile, p *engine.Plan) {
			p.Start, p.Decisions[0].From, w.Days[0].HasPhotos = start+32, start+32, true
		}, func(s Story) bool {
			return slices.ContainsFunc(s.Events, func(e Event) bool { return e.Kind == EventPictures && e.Day == start+32 && e.IsDue })
		}, true},
		{"a break in the way back is none", func(_ *engine.Window, _ *engine.Profile, p *engine.Plan) {
			p.Decisions = append(p.Decisions, decided(20, engine.ReturnToMaintenance, 2600, 0), decided(21, engine.TakeBreak, 2600, 0))
		}, isDue(EventBreakEnd), false},
		{"a cut after the end", func(_ *engine.Window, _ *engine.Profile, p *engine.Plan) {
			p.Decisions = append(p.Decisions, decided(20, engine.Finish, 2600, 0), decided(25, engine.StartDeficit, 2100, 0))
		}, isDue(EventReview), true},
	} {
		plan := engine.DefaultPlan(start)
		plan.Decisions = slices.Clone(cut)
		w := engine.Window{First: start, Days: make([]engine.WindowDay, 36)}
		p := newTrainee(1).profile
		if c.change != nil {
			c.change(&w, &p, &plan)
		}
		if s := Timeline(w, p, plan, start+35); c.check(s) != c.want {
			t.Errorf("%s: due %v in %+v", c.what, dueKinds(s), s.Events)
		}
	}
}

// Nothing is due after a referral or for a plan that is over.
func TestTimelineNothingDue(t *testing.T) {
	for _, c := range []struct {
		what   string
		asOf   engine.Day
		change func(*engine.Window, *engine.Profile, *engine.Plan)
		want   Stage
	}{
		{"a declared condition", 35, func(_ *engine.Window, p *engine.Profile, _ *engine.Plan) { p.Conditions = engine.KidneyDisease }, Referred},
		{"the same before the plan", -3, func(_ *engine.Window, p *engine.Profile, _ *engine.Plan) { p.Conditions = engine.KidneyDisease }, Referred},
		{"a warning sign", 35, func(w *engine.Window, _ *engine.Profile, _ *engine.Plan) {
			w.Days[30].Marks = w.Days[30].Marks.With(engine.MarkFainting)
		}, Referred},
		{"a referral decided", 35, func(_ *engine.Window, _ *engine.Profile, p *engine.Plan) {
			p.Decisions = append(p.Decisions, engine.Decision{From: start + 34, Action: engine.Refer, By: "the doctor's desk."})
		}, Referred},
		{"closed", 35, func(_ *engine.Window, _ *engine.Profile, p *engine.Plan) { p.State = engine.PlanClosed }, Closed},
		{"finished", 35, func(_ *engine.Window, _ *engine.Profile, p *engine.Plan) {
			p.Decisions = append(p.Decisions, decided(20, engine.ReturnToMaintenance, 2600, 0), decided(30, engine.Finish, 2600, 0))
		}, Finished},
	} {
		plan := engine.DefaultPlan(start)
		plan.Decisions = []engine.Decision{decided(0, engine.StartDeficit, 2100, 0)}
		w := engine.Window{First: start, Days: make([]engine.WindowDay, 36)}
		p := newTrainee(1).profile
		c.change(&w, &p, &plan)
		s := Timeline(w, p, plan, start+c.asOf)
		if due := dueKinds(s); len(due) > 0 || s.Stage != c.want {
			t.Errorf("%s: due %v, stage %d", c.what, due, s.Stage)
		}
		if len(s.Cautions) == 0 {
			t.Errorf("%s: no cautions", c.what)
		}
		if len(s.Events) == 0 && c.asOf >= 0 {
			t.Errorf("%s: what happened is gone", c.what)
		}
		if c.what == "a referral decided" {
			const want = "The plan waits: please ask a doctor or another licensed professional first. Decided by the doctor's desk."
			if got := s.Events[len(s.Events)-1].Sentence; got != want {
				t.Errorf("%q", got)
			}
		}
	}
}

func TestTimelineDecisionWords(t *testing.T) {
	refeeds := func(d engine.Decision, every int, kcal float64) engine.Decision {
		d.Target.Refeed = engine.Refeed{EveryDays: every, IntakeKcal: kcal}
		return d
	}
	referral := engine.Decision{Action: engine.Refer}
	for _, c := range []struct {
		before []engine.Decision
		d      engine.Decision
		want   string
	}{
		{nil, decided(0, engine.StartDeficit, 2100, 0), "The cut begins: intake 2100 kcal a day."},
		{nil, refeeds(decided(0, engine.StartDeficit, 2100, 125), 14, 2600), "The cut begins: intake 2100 kcal a day, activity 125 kcal a day, a refeed of 2600 kcal every 14 days."},
		{[]engine.Decision{decided(0, engine.StartDeficit, 2100, 0)}, decided(10, engine.Ease, 2200, 0), "The pace is eased: intake from 2100 to 2200 kcal a day."},
		{[]engine.Decision{decided(0, engine.StartDeficit, 2100, 200)}, decided(10, engine.RaiseBalance, 2150, 0), "The energy balance is raised: intake from 2100 to 2150 kcal a day, activity from 200 to 0 kcal a day."},
		{[]engine.Decision{decided(0, engine.StartDeficit, 2100.2, 0)}, decided(10, engine.MeetTarget, 2100, 0), "The aim is to meet the target before changing it: the target stays as it is."},
		{[]engine.Decision{refeeds(decided(0, engine.ChangeRefeeds, 2100, 0), 14, 2600)}, refeeds(decided(10, engine.ChangeRefeeds, 2100, 0), 10, 2600),
			"The refeeds change: a refeed of 2600 kcal every 10 days in place of a refeed of 2600 kcal every 14 days."},
		{[]engine.Decision{referral}, decided(10, engine.Hold, 2600, 0), "The course is kept: intake 2600 kcal a day."},
		{nil, decided(0, engine.Hold, math.NaN(), 0), "The course is kept."},
		{nil, decided(0, engine.Action(200), 2100, 0), "A decision was recorded: intake 2100 kcal a day."},
	} {
		if got := decisionWords(c.before, c.d); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	// Every action has words of its own.
	seen := map[string]engine.Action{}
	for a := engine.KeepLogging; a <= engine.Refer; a++ {
		words := actionWords(nil, a)
		if was, ok := seen[words]; ok || words == actionWords(nil, engine.ActionUnspecified) {
			t.Errorf("action %d reads like %d: %q", a, was, words)
		}
		seen[words] = a
	}
}
