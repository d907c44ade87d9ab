package strength

import (
	"testing"

	"example.com/steelyard/engine"
)

func TestVolumeOf(t *testing.T) {
	baseline, recent := Period{today - 42, today - 14}, Period{today - 14, today}
	// Three hard sets a session: four sessions before, one now, and at the edges.
	rows := sessions("squat", []int{43, 42, 35, 28, 15, 14, 0}, 1, 1, 1, 1, 1, 1, 1)
	got := VolumeOf(rows, baseline, recent, today-100)
	is(t, "before", got.BaselinePerWeek, 3, 1e-12) // 12 sets in 28 days
	is(t, "now", got.PerWeek, 1.5, 1e-12)          // 3 sets in 14 days
	is(t, "share", got.Pct, 50, 1e-12)
	// Logged for the last two weeks of the baseline only: 3 sets in 14 days.
	late := VolumeOf(rows, baseline, recent, today-28)
	is(t, "before, logged late", late.BaselinePerWeek, 3, 1e-12)
	none := VolumeOf(rows[5:], baseline, recent, today-100)
	if none.Pct.OK || none.BaselinePerWeek != engine.Some(0) || none.Why != ReasonNone {
		t.Errorf("a baseline without sets: %+v", none)
	}
	for name, c := range map[string]struct {
		baseline, recent Period
		logged           engine.Day
		why              Reason
	}{
		"a week before":             {baseline, recent, today - 21, ReasonNone},
		"less than a week before":   {baseline, recent, today - 20, TooShortBaseline},
		"logged since":              {baseline, recent, today - 10, TooShortBaseline},
		"a week now":                {baseline, Period{today - 7, today}, today - 100, ReasonNone},
		"less than a week now":      {baseline, Period{today - 6, today}, today - 100, TooShort},
		"the cut begins after asOf": {baseline, Period{today + 3, today}, today - 100, TooShort},
	} {
		v := VolumeOf(rows, c.baseline, c.recent, c.logged)
		if v.Why != c.why || v.PerWeek.OK != (c.why == ReasonNone) || v.BaselinePerWeek.OK != v.PerWeek.OK || c.why != ReasonNone && v != (Volume{Why: c.why}) {
			t.Errorf("%s: %+v, want %v", name, v, c.why)
		}
	}
}
