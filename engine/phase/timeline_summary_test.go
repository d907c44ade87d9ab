package phase

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"example.com/steelyard/engine"
)

// lived is a whole plan of an invented trainee who eats to target, with the
// true tissue weight of each morning: a test of 10 days, a cut of 52, a break of
// 10, a cut of 28, 21 days at maintenance.
func lived(seed uint64) (p *trainee, tissueKg []float64) {
	p = newTrainee(seed)
	p.plan.Decisions = storyDecisions()
	for range 122 {
		tissueKg = append(tissueKg, p.tissueKg)
		p.live(1, 0)
	}
	return p, tissueKg
}

func TestTimelineSummaryAgainstTheTruth(t *testing.T) {
	for seed := range uint64(5) {
		p, kg := lived(seed)
		asOf := start + 121 // the Finish
		s := Timeline(p.window, p.profile, p.plan, asOf).Summary
		if s == nil {
			t.Fatal("no summary of a full log")
		}
		// In % a week of the weight of the time: the mean of the days' rates.
		rate := func(from, to int) float64 {
			sum := 0.0
			for d := from; d < to; d++ {
				sum += 700 * (kg[d] - kg[d+1]) / kg[d]
			}
			return sum / float64(to-from)
		}
		cutRate := (rate(10, 62)*52 + rate(72, 100)*28) / 80
		const exact = 0
		for _, c := range []struct {
			what            string
			got, want, near float64
		}{
			{"days", float64(s.Days), 122, exact},
			{"break days", float64(s.BreakDays), 10, exact},
			{"refeeds", float64(s.Refeeds), 2, exact},
			{"start, kg", s.StartWeightKg, kg[0], 0.5},
			{"end, kg", s.EndWeightKg, kg[121], 0.5},
			{"lost, %", s.LostPct, 100 * (kg[0] - kg[121]) / kg[0], 0.6},
			{"mean rate, %/week", s.MeanRatePctPerWeek.V, cutRate, 0.07},
			{"start maintenance, kcal/d", s.StartMaintenanceKcal, 2700, exact}, // the profile's own, in logged kcal
			// At the reference diet and with no prescribed activity, as it is told.
			{"end maintenance, kcal/d", s.EndMaintenanceKcal, p.maintenance + 22*(p.tissueKg-p.startKg) + p.adapt, 90},
		} {
			if !(math.Abs(c.got-c.want) <= c.near) {
				t.Errorf("seed %d, %s: %.3f, want %.3f within %g", seed, c.what, c.got, c.want, c.near)
			}
		}
		want := []struct {
			from, to int
			action   engine.Action
		}{
			{0, 10, engine.KeepLogging}, {10, 20, engine.StartDeficit}, {20, 27, engine.LowerBalance},
			{27, 41, engine.AddBaseActivity}, // the Hold on day 34 changed nothing
			{41, 62, engine.ChangeRefeeds}, {62, 72, engine.TakeBreak}, {72, 100, engine.StartDeficit},
			{100, 107, engine.ReturnToMaintenance}, {107, 122, engine.ReturnToMaintenance},
		}
		if len(s.Periods) != len(want) {
			t.Fatalf("periods %+v", s.Periods)
		}
		sum := 0.0
		for i, c := range want {
			got, to := s.Periods[i], min(c.to, 121)
			sum += got.LostKg.V
			if got.Start != start+engine.Day(c.from) || got.End != start+engine.Day(c.to)-1 || got.Action != c.action {
				t.Errorf("seed %d: period %+v, want %+v", seed, got, c)
			}
			if wantTarget, _ := p.plan.TargetOn(got.Start); got.Target != wantTarget {
				t.Errorf("seed %d: target %+v, want %+v", seed, got.Target, wantTarget)
			}
			if lost := kg[c.from] - kg[to]; math.Abs(got.LostKg.V-lost) > 0.35 {
				t.Errorf("seed %d, period %d: lost %.2f kg, want %.2f", seed, i, got.LostKg.V, lost)
			}
			if !got.RatePctPerWeek.OK || math.Abs(got.RatePctPerWeek.V-rate(c.from, to)) > 0.30 {
				t.Errorf("seed %d, period %d: rate %+v, want %.2f", seed, i, got.RatePctPerWeek, rate(c.from, to))
			}
		}
		if math.Abs(sum-(s.StartWeightKg-s.EndWeightKg)) > 1e-9 {
			t.Errorf("seed %d: the periods lost %.3f kg, the plan %.3f", seed, sum, s.StartWeightKg-s.EndWeightKg)
		}
	}
}

// What comes after the end is not the plan's any more.
func TestTimelineSummaryEndsWithThePlan(t *testing.T) {
	p, _ := lived(1)
	want := Timeline(p.window, p.profile, p.plan, start+121)
	p.live(20, 0)
	p.plan.Decisions = append(p.plan.Decisions, decided(130, engine.Hold, 3000, 0))
	got := Timeline(p.window, p.profile, p.plan, start+140)
	if fmt.Sprint(*got.Summary) != fmt.Sprint(*want.Summary) {
		t.Errorf("%+v\n%+v", got.Summary, want.Summary)
	}
}

func TestTimelineSummaryOfPartOfALog(t *testing.T) {
	p, kg := lived(2)
	summary := func(first, asOf engine.Day, change func(w *engine.Window, plan *engine.Plan)) *Summary {
		w, plan := p.window.Between(start+first, p.window.End()), p.plan
		w.Days = slices.Clone(w.Days)
		plan.Decisions = slices.Clone(plan.Decisions)
		if change != nil {
			change(&w, &plan)
		}
		return Timeline(w, p.profile, plan, start+asOf).Summary
	}
	forget := func(from, to int) func(w *engine.Window, plan *engine.Plan) {
		return func(w *engine.Window, _ *engine.Plan) {
			for d := from; d < to; d++ {
				w.Days[d].WeightKg = engine.Opt{}
			}
		}
	}
	if s := summary(0, -1, nil); s != nil {
		t.Errorf("before the plan: %+v", s)
	}
	if s := summary(0, 1, nil); s != nil {
		t.Errorf("with two readings: %+v", s)
	}
	s := summary(0, 16, nil)
	if s == nil || s.MeanRatePctPerWeek.OK || len(s.Periods) != 2 || !s.Periods[0].RatePctPerWeek.OK || s.Periods[1].RatePctPerWeek.OK {
		t.Errorf("six days into the cut: %+v", s)
	}
	if s := summary(0, 17, nil); s == nil || !s.MeanRatePctPerWeek.OK || !s.Periods[1].RatePctPerWeek.OK {
		t.Errorf("seven days into the cut: %+v", s)
	}
	// A window that begins in the cut: weight, rate and periods from there on.
	s = summary(30, 60, nil)
	if s == nil || s.Days != 61 || math.Abs(s.StartWeightKg-kg[30]) > 0.8 || s.Periods[1].LostKg.OK || s.Periods[1].RatePctPerWeek.OK {
		t.Errorf("from day 30: %+v", s)
	}
	// Nothing is told of days after the last reading.
	s, until := summary(0, 60, forget(40, 61)), summary(0, 39, nil)
	if s == nil || math.Abs(s.EndWeightKg-until.EndWeightKg) > 1e-9 || s.Days != 61 {
		t.Errorf("without readings from day 40: %+v\n%+v", s, until)
	} else if last := s.Periods[len(s.Periods)-1]; last.Start != start+41 || last.LostKg.OK || last.RatePctPerWeek.OK {
		t.Errorf("a period without readings: %+v", last)
	}
	if s := summary(0, 60, func(_ *engine.Window, plan *engine.Plan) { plan.Start, plan.Decisions = start+200, nil }); s != nil {
		t.Errorf("a plan to come: %+v", s)
	}
	if s := summary(0, 60, func(w *engine.Window, plan *engine.Plan) {
		plan.Start, plan.Decisions = start+45, nil
		forget(40, 61)(w, plan)
	}); s != nil {
		t.Errorf("no reading under the plan: %+v", s)
	}
	// Empty days before the plan are no older log.
	s = summary(0, 20, func(w *engine.Window, _ *engine.Plan) {
		w.First, w.Days = w.First-3, append(make([]engine.WindowDay, 3), w.Days...)
	})
	if s == nil || s.StartMaintenanceKcal != 2700 {
		t.Errorf("with empty days before: %+v", s)
	}
	// A log older than the plan knows maintenance better than the guess.
	s = summary(0, 90, func(_ *engine.Window, plan *engine.Plan) { plan.Start, plan.Decisions = start+72, plan.Decisions[7:] })
	if s == nil || math.Abs(s.StartMaintenanceKcal-(2700+22*(kg[72]-kg[0]))) > 150 || s.StartMaintenanceKcal == 2700 || s.Days != 19 {
		t.Errorf("the second half alone: %+v", s)
	}
}

func TestTimelinePeriods(t *testing.T) {
	refer := engine.Decision{From: start + 12, Action: engine.Refer}
	for _, c := range []struct {
		what      string
		decisions []engine.Decision
		want      string // start-end action kcal, ...
	}{
		{"none", nil, ""},
		{"one", []engine.Decision{decided(3, engine.StartDeficit, 2100, 0)}, "3-20 2 2100"},
		{"the same target again", []engine.Decision{decided(3, engine.StartDeficit, 2100, 0), decided(9, engine.Hold, 2100, 0)}, "3-20 2 2100"},
		{"two on a day", []engine.Decision{decided(3, engine.KeepLogging, 2700, 0), decided(3, engine.StartDeficit, 2100, 0)}, "3-20 2 2100"},
		{"two on a day, alike", []engine.Decision{decided(3, engine.StartDeficit, 2100, 0), decided(3, engine.Hold, 2100, 0)}, "3-20 2 2100"},
		{"taken back on the day", []engine.Decision{decided(3, engine.StartDeficit, 2100, 0), decided(9, engine.LowerBalance, 2000, 0), decided(9, engine.Hold, 2100, 0)}, "3-20 2 2100"},
		{"only activity", []engine.Decision{decided(3, engine.StartDeficit, 2100, 0), decided(9, engine.AddBaseActivity, 2100, 125)}, "3-8 2 2100, 9-20 7 2100"},
		{"a referral", []engine.Decision{decided(3, engine.StartDeficit, 2100, 0), refer, decided(15, engine.Hold, 2100, 0)}, "3-11 2 2100, 15-20 3 2100"},
		{"nothing after a referral", []engine.Decision{decided(3, engine.StartDeficit, 2100, 0), refer, decided(15, engine.Hold, 0, 0)}, "3-11 2 2100, 15-20 3 0"},
		{"no day's target", []engine.Decision{decided(3, engine.StartDeficit, 2100, 0), decided(9, engine.Hold, math.Inf(1), 0)}, "3-8 2 2100"},
		{"before the plan", []engine.Decision{decided(-9, engine.KeepLogging, 2700, 0), decided(-3, engine.StartDeficit, 2100, 0)}, "0-20 2 2100"},
		{"to come", []engine.Decision{decided(3, engine.StartDeficit, 2100, 0), decided(21, engine.Hold, 2000, 0)}, "3-20 2 2100"},
	} {
		p := newTrainee(3)
		p.live(21, 2600)
		p.plan.Decisions = c.decisions
		s := Timeline(p.window, p.profile, p.plan, start+20).Summary
		if s == nil {
			t.Fatalf("%s: no summary", c.what)
		}
		var got []string
		for _, x := range s.Periods {
			got = append(got, fmt.Sprintf("%d-%d %d %.0f", x.Start-start, x.End-start, x.Action, x.Target.IntakeKcal))
		}
		if g := strings.Join(got, ", "); g != c.want {
			t.Errorf("%s: %s, want %s", c.what, g, c.want)
		}
	}
}

// The days of a referral are not the cut's, and those of the way back are not a
// break's.
func TestTimelineSummaryCutDays(t *testing.T) {
	p, kg := lived(4)
	p.plan.Decisions = []engine.Decision{
		decided(0, engine.KeepLogging, 2700, 0), decided(10, engine.StartDeficit, 2150, 0), decided(62, engine.Refer, 2700, 0),
		decided(95, engine.ReturnToMaintenance, 2700, 0), // while referred there is no summary
	}
	s := Timeline(p.window, p.profile, p.plan, start+100).Summary
	if want := 700 * math.Log(kg[10]/kg[62]) / 52; s == nil || math.Abs(s.MeanRatePctPerWeek.V-want) > 0.1 {
		t.Fatalf("mean rate %+v, want %.2f", s, want)
	}
	p.plan.Decisions[2].Action = engine.TakeBreak
	if b := Timeline(p.window, p.profile, p.plan, start+100).Summary; b == nil || b.MeanRatePctPerWeek != s.MeanRatePctPerWeek || s.BreakDays != 0 {
		t.Errorf("a referral: %+v\na break of the same days: %+v", s, b)
	}
	p.plan.Decisions = append(p.plan.Decisions[:3], decided(70, engine.Hold, 2700, 0), decided(75, engine.ReturnToMaintenance, 2700, 0), decided(80, engine.TakeBreak, 2700, 0))
	if s := Timeline(p.window, p.profile, p.plan, start+100).Summary; s == nil || s.BreakDays != 13 {
		t.Errorf("break days %+v, want 13", s)
	}
	if s := Timeline(p.window, p.profile, p.plan, start+66).Summary; s == nil || s.BreakDays != 5 {
		t.Errorf("break days so far %+v, want 5, today's included", s)
	}
}

func TestTimelineSummaryRetention(t *testing.T) {
	p, _ := lived(5)
	for _, lift := range []struct {
		name          string
		before, after float64
	}{{"a", 100, 97}, {"b", 80, 80}, {"c", 60, 54}} {
		for _, day := range []engine.Day{1, 4, 112, 116} {
			kg := lift.before
			if day > 100 {
				kg = lift.after
			}
			p.window.Lifts = append(p.window.Lifts, engine.LiftDay{Day: start + day, Lift: lift.name, BestE1RM: engine.Some(kg), Sets: 3, HardSets: 3})
		}
	}
	slices.SortStableFunc(p.window.Lifts, func(a, b engine.LiftDay) int { return int(a.Day - b.Day) })
	if s := Timeline(p.window, p.profile, p.plan, start+121).Summary; s == nil || !s.RetentionPct.OK || math.Abs(s.RetentionPct.V-97) > 1e-9 {
		t.Errorf("retention %+v, want the median of 97, 100 and 90 %%", s)
	}
}

// A rate needs weights of which there is a ratio, whatever a long gap makes of
// the line.
func TestTimelineLossOfNoWeight(t *testing.T) {
	var l lossSum
	l.add(measuredLine{first: start, kg: []float64{3, 2, 1, 0, -1, -2, -3, -4, -5}}, start, start+8)
	if got := l.pctPerWeek(); got.OK || l.kg != 8 {
		t.Errorf("%+v of %+v", got, l)
	}
}
