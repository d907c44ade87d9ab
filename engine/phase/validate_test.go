package phase

import (
	"math"
	"strings"
	"testing"

	"example.com/steelyard/engine"
)

func TestValidatePlan(t *testing.T) {
	kg := engine.Some(80)
	for _, c := range []struct {
		what   string
		edit   func(*engine.Plan)
		weight engine.Opt
		fields string // of the problems, in order
	}{
		{"the default", func(p *engine.Plan) {}, kg, ""},
		{"without a weight", func(p *engine.Plan) {}, engine.Opt{}, ""},
		{"a start never given", func(p *engine.Plan) { p.Start = 0 }, kg, "start_date"},
		{"a start in 2200", func(p *engine.Plan) { p.Start = lastStart + 1 }, kg, "start_date"},
		{"goal just under", func(p *engine.Plan) { p.GoalWeightKg = engine.Some(79.9) }, kg, ""},
		{"goal at the present weight", func(p *engine.Plan) { p.GoalWeightKg = engine.Some(80) }, kg, "goal_weight_kg"},
		{"goal over a weight not known", func(p *engine.Plan) { p.GoalWeightKg = engine.Some(90) }, engine.Opt{}, ""},
		{"goal of 29 kg", func(p *engine.Plan) { p.GoalWeightKg = engine.Some(29) }, kg, "goal_weight_kg"},
		{"goal that is no number", func(p *engine.Plan) { p.GoalWeightKg = engine.Some(math.NaN()) }, kg, "goal_weight_kg"},
		{"fat at the edges", func(p *engine.Plan) { p.GoalBodyFatPct = engine.Some(4) }, kg, ""},
		{"fat below", func(p *engine.Plan) { p.GoalBodyFatPct = engine.Some(3.9) }, kg, "goal_body_fat_pct"},
		{"fat above", func(p *engine.Plan) { p.GoalBodyFatPct = engine.Some(50.1) }, kg, "goal_body_fat_pct"},
		{"unknown method", func(p *engine.Plan) { p.Method = 9 }, kg, "method"},
		{"pace of 1 %", func(p *engine.Plan) { p.PacePctPerWeek = 1 }, kg, ""},
		{"pace over 1 %", func(p *engine.Plan) { p.PacePctPerWeek = 1.01 }, kg, "pace_pct_per_week"},
		{"pace under the band", func(p *engine.Plan) { p.PacePctPerWeek = 0.49 }, kg, "pace_pct_per_week"},
		{"pace over the band", func(p *engine.Plan) { p.BandHighPctPerWeek, p.PacePctPerWeek = 0.7, 0.71 }, kg, "pace_pct_per_week"},
		{"1 kg a week", func(p *engine.Plan) {}, engine.Some(125), ""},
		{"over 1 kg a week", func(p *engine.Plan) {}, engine.Some(125.1), "pace_pct_per_week"},
		{"band upside down", func(p *engine.Plan) { p.BandLowPctPerWeek, p.BandHighPctPerWeek = 0.9, 0.6 }, kg, "band_low_pct_per_week"},
		{"band beyond 1 %", func(p *engine.Plan) { p.BandHighPctPerWeek = 1.1 }, kg, "band_high_pct_per_week"},
		{"no band", func(p *engine.Plan) { p.BandLowPctPerWeek, p.BandHighPctPerWeek, p.PacePctPerWeek = 0, 0, 0 }, kg, "band_low_pct_per_week band_high_pct_per_week pace_pct_per_week"},
		{"pace that is no number", func(p *engine.Plan) { p.PacePctPerWeek = math.NaN() }, kg, "pace_pct_per_week"},
		{"base over the cap", func(p *engine.Plan) { p.ActivityCapKcal = 100 }, kg, "base_activity_kcal"},
		{"base at the cap", func(p *engine.Plan) { p.ActivityCapKcal = 125 }, kg, ""},
		{"base below 0", func(p *engine.Plan) { p.BaseActivityKcal = -1 }, kg, "base_activity_kcal"},
		{"cap over 1000", func(p *engine.Plan) { p.ActivityCapKcal = 1001 }, kg, "activity_cap_kcal"},
		{"floor of 800", func(p *engine.Plan) { p.IntakeFloorKcal = engine.Some(800) }, kg, ""},
		{"floor under 800", func(p *engine.Plan) { p.IntakeFloorKcal = engine.Some(799) }, kg, "intake_floor_kcal"},
		{"floor of 5001", func(p *engine.Plan) { p.IntakeFloorKcal = engine.Some(5001) }, kg, "intake_floor_kcal"},
	} {
		plan := engine.DefaultPlan(start)
		c.edit(&plan)
		var fields []string
		for _, p := range ValidatePlan(plan, c.weight) {
			fields = append(fields, p.Field)
			if p.Problem == "" {
				t.Errorf("%s: %s without words", c.what, p.Field)
			}
		}
		if got := strings.Join(fields, " "); got != c.fields {
			t.Errorf("%s: problems with %q, want %q", c.what, got, c.fields)
		}
	}
}
