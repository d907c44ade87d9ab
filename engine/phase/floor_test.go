package phase

import (
	"testing"

	"example.com/steelyard/engine"
)

func TestFloor(t *testing.T) {
	birth, _ := engine.DayOf(1990, 1, 1)
	on, _ := engine.DayOf(2026, 1, 1) // 36 years
	woman := engine.Profile{Sex: engine.Female, BirthDate: engine.SomeDay(birth), HeightCm: engine.Some(165)}
	man := engine.Profile{Sex: engine.Male, BirthDate: engine.SomeDay(birth), HeightCm: engine.Some(180)}
	none, kg := engine.Opt{}, engine.Some
	for _, c := range []struct {
		what                      string
		p                         engine.Profile
		weight, maintenance, plan engine.Opt
		want                      float64
	}{
		// Resting energy by Mifflin: 10 W + 6.25 H - 5 A + 5 or - 161.
		{"a woman of 50 kg: 1200 over 0.95 x 1190.25", woman, kg(50), none, none, 1200},
		{"a woman of 70 kg: 0.95 x 1390.25", woman, kg(70), none, none, 0.95 * 1390.25},
		{"a man of 60 kg: 1500 over 0.95 x 1550 = 1472.5", man, kg(60), none, none, 1500},
		{"a man of 80 kg: 0.95 x 1750", man, kg(80), none, none, 0.95 * 1750},
		{"without a weight", man, none, none, none, 1500},
		{"without a birth date", engine.Profile{Sex: engine.Female, HeightCm: engine.Some(165)}, kg(70), none, none, 1200},
		{"maintenance just low enough to cap", man, kg(80), engine.Some(1847), none, 0.9 * 1847},
		{"and just too high", man, kg(80), engine.Some(1848), none, 0.95 * 1750},
		{"never under 800", woman, kg(50), engine.Some(700), none, 800},
		{"the plan raises", man, kg(80), none, engine.Some(1900), 1900},
		{"the plan does not lower", man, kg(80), none, engine.Some(1000), 0.95 * 1750},
		{"the plan's own is not capped", man, kg(80), engine.Some(1500), engine.Some(1900), 1900},
	} {
		if got := floor(c.p, c.weight, on, c.maintenance, c.plan); !got.OK || got.V != c.want {
			t.Errorf("%s: %v, want %v", c.what, got, c.want)
		}
	}
	if got := floor(engine.Profile{}, kg(80), on, none, none); got.OK {
		t.Errorf("without a sex: %v", got)
	}
}
