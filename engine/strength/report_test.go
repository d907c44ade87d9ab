package strength

import (
	"testing"

	gocmp "github.com/google/go-cmp/cmp"

	"example.com/steelyard/engine"
)

// window holds lift days of several lifts, in order.
func window(lifts ...[]engine.LiftDay) engine.Window {
	w := engine.Window{First: today - 200, Days: make([]engine.WindowDay, 201)}
	for d := w.First; d <= today+5; d++ {
		for _, rows := range lifts {
			for _, l := range rows {
				if l.Day == d {
					w.Lifts = append(w.Lifts, l)
				}
			}
		}
	}
	return w
}

func TestJudge(t *testing.T) {
	cut := engine.SomeDay(today - 28)
	squat := sessions("squat", []int{52, 45, 38, 31, 24, 17, 10, 3, 0}, 150, 152, 151, 153, 150, 149, 148, 146, 144)
	press := sessions("overhead-press", []int{50, 36, 8, -2}, 60, 62, 60, 99)
	dips := sessions("dip", []int{49, 7}, 0, 0)
	r := Judge(window(squat, press, dips), today, cut)
	if len(r.Lifts) != 3 || r.Lifts[0].Lift != "dip" || r.Lifts[1].Lift != "overhead-press" || r.Lifts[2].Lift != "squat" {
		t.Fatalf("lifts %+v", r.Lifts)
	}
	dip, ohp, sq := r.Lifts[0], r.Lifts[1], r.Lifts[2]

	if sq.LatestE1RMKg != engine.Some(144) || sq.LatestDay != engine.SomeDay(today) || sq.Trend.Sessions != 9 || !(sq.Trend.HighPctPerWeek.V < 0) {
		t.Errorf("squat %+v", sq)
	}
	if diff := gocmp.Diff(TrendOf(squat), sq.Trend); diff != "" {
		t.Errorf("squat: %s", diff)
	}
	// Before the cut 150 152 151 153; in the last two weeks, today not over, 148 146.
	is(t, "squat kept", sq.Retention.Pct, 100*147/151.5, 1e-9)
	if sq.Retention.BaselineSessions != 4 || sq.Retention.RecentSessions != 2 {
		t.Errorf("squat %+v", sq.Retention)
	}
	// Logged from day -52 on, 24 days of baseline with 4 sessions of 3 hard sets.
	is(t, "squat sets before", sq.HardSets.BaselinePerWeek, 7*12/24.0, 1e-9)
	is(t, "squat sets now", sq.HardSets.PerWeek, 3, 1e-9)

	// What lies after asOf does not exist yet.
	if ohp.LatestE1RMKg != engine.Some(60) || ohp.Trend.Why != TooFewSessions || ohp.Trend.Sessions != 3 || ohp.Retention.Why != TooFewRecentSessions || ohp.Retention.BaselineSessions != 2 {
		t.Errorf("press %+v", ohp)
	}
	if dip.LatestE1RMKg.OK || dip.LatestDay.OK || dip.Trend.Why != NoEstimate || dip.Retention.Why != TooFewBaselineSessions || !dip.HardSets.Pct.OK {
		t.Errorf("dip %+v", dip)
	}
	is(t, "all sets before", r.HardSets.BaselinePerWeek, 7*(12+6+3)/24.0, 1e-9)
	is(t, "all sets now", r.HardSets.PerWeek, 7*(6+3+3)/14.0, 1e-9)
	is(t, "all sets", r.HardSets.Pct, 100*6/6.125, 1e-9)
}

func TestJudgePeriods(t *testing.T) {
	// A session each day, stronger by one kilogram each day: the numbers name the days.
	var ago []int
	var kg []float64
	for d := 120; d >= 0; d-- {
		ago, kg = append(ago, d), append(kg, float64(300-d))
	}
	w := window(sessions("squat", ago, kg...))
	at := func(cutAgo int) LiftReport { return Judge(w, today, engine.SomeDay(today-engine.Day(cutAgo))).Lifts[0] }
	for _, c := range []struct {
		cutAgo               int
		baselineKg, recentKg float64
		baselineN, recentN   int
	}{
		{40, (232 + 259) / 2.0, (286 + 299) / 2.0, 28, 14}, // days 68..41 and 14..1 ago
		{14, (258 + 285) / 2.0, (286 + 299) / 2.0, 28, 14},
		{9, (263 + 290) / 2.0, (291 + 299) / 2.0, 28, 9}, // the cut's own days only
	} {
		r := at(c.cutAgo).Retention
		is(t, "before", r.BaselineE1RMKg, c.baselineKg, 1e-9)
		is(t, "now", r.RecentE1RMKg, c.recentKg, 1e-9)
		if r.BaselineSessions != c.baselineN || r.RecentSessions != c.recentN {
			t.Errorf("cut %d days ago: %+v", c.cutAgo, r)
		}
	}
	if n := at(40).Trend.Sessions; n != 56 {
		t.Errorf("a trend over %d days", n)
	}
	if r := at(1); r.Retention.Why != TooFewRecentSessions || r.HardSets.Why != TooShort {
		t.Errorf("on the second day of the cut: %+v", r)
	}
	if r := at(115); r.HardSets.Why != TooShortBaseline || !r.Retention.Pct.OK {
		t.Errorf("logged from five days before the cut on: %+v", r)
	}
}

func TestJudgeWithoutCut(t *testing.T) {
	w := window(falling([]int{42, 35, 28, 21, 14, 7, 0}, -1))
	for name, cut := range map[string]engine.OptDay{"none": {}, "still to come": engine.SomeDay(today + 1)} {
		r := Judge(w, today, cut)
		l := r.Lifts[0]
		if !l.Trend.PctPerWeek.OK || l.Retention != (Retention{Why: NoCut}) || l.HardSets != (Volume{Why: NoCut}) || r.HardSets != (Volume{Why: NoCut}) {
			t.Errorf("%s: %+v", name, r)
		}
	}
	if r := Judge(w, today, engine.SomeDay(today)); r.Lifts[0].Retention.Why != TooFewRecentSessions || r.HardSets.Why != TooShort {
		t.Errorf("on the first day: %+v", r)
	}
}

func TestJudgeNothing(t *testing.T) {
	for name, w := range map[string]engine.Window{"empty": {}, "later only": window(sessions("squat", []int{-1}, 100))} {
		if diff := gocmp.Diff(Report{HardSets: Volume{Why: NothingLogged}}, Judge(w, today, engine.SomeDay(today-30))); diff != "" {
			t.Errorf("%s: %s", name, diff)
		}
	}
	// Not trained, or not logged: nobody can tell.
	w := window(sessions("squat", []int{80, 73, 66, 59, 52, 15, 0}, 100, 100, 100, 100, 100, 100, 100))
	r := Judge(w, today, engine.SomeDay(today-50))
	if r.HardSets != (Volume{Why: NothingLogged}) || r.Lifts[0].HardSets != (Volume{Why: NothingLogged}) || r.Lifts[0].Retention.Why != TooFewRecentSessions {
		t.Errorf("%+v", r)
	}
	w = window(sessions("squat", []int{80, 73, 66, 59, 52, 14, 0}, 100, 100, 100, 100, 100, 100, 100))
	if r := Judge(w, today, engine.SomeDay(today-50)); !r.HardSets.PerWeek.OK {
		t.Errorf("logged 14 days ago: %+v", r)
	}
}

func TestReasonsInWords(t *testing.T) {
	seen := map[string]bool{}
	for r := ReasonNone; r <= NothingLogged; r++ {
		s := r.String()
		if (s == "") != (r == ReasonNone) || seen[s] {
			t.Errorf("reason %d: %q", r, s)
		}
		seen[s] = true
	}
	if (NothingLogged + 1).String() != "" {
		t.Error("an unknown reason has words")
	}
}
