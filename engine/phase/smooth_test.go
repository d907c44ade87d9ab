package phase

import (
	"slices"
	"testing"

	"example.com/steelyard/engine"
)

// The chart's line belongs to the track that decides: the same days, the same
// last morning, and past days that differ.
func TestSmoothBelongsToTheTrack(t *testing.T) {
	p := cutting(1, 40)
	p.morning()
	for _, plan := range []*engine.Plan{&p.plan, nil} {
		want, _, ok := new(Scratch).track(p.window, p.profile, plan, p.today()-1)
		got, line, isThere := Smooth(p.window, p.profile, plan, p.today()-1)
		if !ok || !isThere || !slices.Equal(want.Days, got.Days) || len(line) != len(want.Days) {
			t.Fatalf("track %v, line %v: %d days, %d and %d", ok, isThere, len(want.Days), len(got.Days), len(line))
		}
		if n := len(line) - 1; line[n] != want.Days[n] || line[n/2].TrendWeightKg == want.Days[n/2].TrendWeightKg {
			t.Errorf("last day %+v\n%+v", line[n], want.Days[n])
		}
	}
	if _, line, ok := Smooth(engine.Window{First: start, Days: make([]engine.WindowDay, 9)}, p.profile, nil, start+8); ok || line != nil {
		t.Error("a line without readings")
	}
}
