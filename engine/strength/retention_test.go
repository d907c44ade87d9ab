package strength

import (
	"testing"

	gocmp "github.com/google/go-cmp/cmp"

	"example.com/steelyard/engine"
)

func TestRetentionOf(t *testing.T) {
	baseline, recent := Period{today - 50, today - 22}, Period{today - 14, today}
	rows := sessions("squat",
		[]int{51, 50, 40, 30, 23, 22, 16, 15, 14, 8, 1, 0},
		999, 140, 100, 150, 144, 999, 999, 999, 135, 90, 139, 999)
	got := RetentionOf(rows, baseline, recent)
	want := Retention{
		Pct: engine.Some(100 * 135 / 142.0), BaselineE1RMKg: engine.Some(142), RecentE1RMKg: engine.Some(135),
		BaselineSessions: 4, RecentSessions: 3,
	}
	if diff := gocmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	for name, c := range map[string]struct {
		ago  []int
		e1RM []float64
		want Retention
	}{
		"nothing":             {nil, nil, Retention{Why: TooFewBaselineSessions}},
		"one before":          {[]int{30, 10, 3}, []float64{100, 100, 100}, Retention{BaselineSessions: 1, RecentSessions: 2, Why: TooFewBaselineSessions}},
		"one now":             {[]int{40, 30, 3}, []float64{100, 100, 100}, Retention{BaselineSessions: 2, RecentSessions: 1, Why: TooFewRecentSessions}},
		"no estimate":         {[]int{40, 30, 7, 3}, []float64{100, 100, 0, 100}, Retention{BaselineSessions: 2, RecentSessions: 1, Why: TooFewRecentSessions}},
		"none that can be":    {[]int{40, 30, 7, 3}, []float64{100, 1e9, 90, 90}, Retention{BaselineSessions: 1, RecentSessions: 2, Why: TooFewBaselineSessions}},
		"just enough of both": {[]int{40, 30, 7, 3}, []float64{100, 120, 88, 88}, Retention{Pct: engine.Some(80), BaselineE1RMKg: engine.Some(110), RecentE1RMKg: engine.Some(88), BaselineSessions: 2, RecentSessions: 2}},
	} {
		if diff := gocmp.Diff(c.want, RetentionOf(sessions("squat", c.ago, c.e1RM...), baseline, recent)); diff != "" {
			t.Errorf("%s: %s", name, diff)
		}
	}
}
