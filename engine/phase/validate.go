package phase

import (
	"fmt"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/balance"
)

// PlanProblem is one reason why a plan is refused. Field is the plan's field in
// snake_case, as callers write it; Problem follows it in a sentence: "must be
// under the present weight".
type PlanProblem struct {
	Field   string
	Problem string
}

// Bounds of a plan's numbers. The pace: NHLBI's Clinical Guidelines 1998 (1-2 lb
// a week) and Helms ER et al., J Int Soc Sports Nutr 2014;11:20 (0.5-1 % of body
// weight a week). The others keep typing errors out; our own.
const (
	maxPacePct      = 1.0 // % of body weight a week; the band may not reach beyond it either
	minBandPct      = 0.1
	minGoalFatPct   = 4
	maxGoalFatPct   = 50
	maxActivityKcal = 1000
	maxFloorKcal    = 5000
	maxWeekendKcal  = 1000
)

// A plan starts between 2000-01-01 and 2199-12-31.
const (
	firstStart = engine.Day(10957)
	lastStart  = engine.Day(84005)
)

// ValidatePlan returns why a plan cannot be followed, in the order of the
// plan's fields; nothing when it can. presentWeightKg is the trainee's latest
// weight, if any is known. NaN is out of every range.
//
// A plan may not aim faster than 1 % of body weight or 1 kg a week. A goal that
// is too light for the trainee is no problem of the plan's form: Recommend
// refers it.
func ValidatePlan(plan engine.Plan, presentWeightKg engine.Opt) []PlanProblem {
	var problems []PlanProblem
	refuse := func(field, problem string, args ...any) {
		problems = append(problems, PlanProblem{field, fmt.Sprintf(problem, args...)})
	}
	isIn := func(field string, v, low, high float64, unit string) bool {
		ok := v >= low && v <= high
		if !ok {
			refuse(field, "must be between %g and %g %s", low, high, unit)
		}
		return ok
	}
	if plan.Start < firstStart || plan.Start > lastStart {
		refuse("start_date", "must lie between %s and %s", firstStart, lastStart)
	}
	if g := plan.GoalWeightKg; g.OK {
		if !balance.IsWeight(g) {
			refuse("goal_weight_kg", "must be between 30 and 200 kg")
		} else if presentWeightKg.OK && g.V >= presentWeightKg.V {
			refuse("goal_weight_kg", "must be under the present weight of %.1f kg", presentWeightKg.V)
		}
	}
	if g := plan.GoalBodyFatPct; g.OK {
		isIn("goal_body_fat_pct", g.V, minGoalFatPct, maxGoalFatPct, "%")
	}
	if plan.Method != engine.Posterior && plan.Method != engine.PracticeTable {
		refuse("method", "is not known")
	}
	low, high, pace := plan.BandLowPctPerWeek, plan.BandHighPctPerWeek, plan.PacePctPerWeek
	lowOK := isIn("band_low_pct_per_week", low, minBandPct, maxPacePct, "% of body weight a week")
	highOK := isIn("band_high_pct_per_week", high, minBandPct, maxPacePct, "% of body weight a week")
	paceOK := isIn("pace_pct_per_week", pace, minBandPct, maxPacePct, "% of body weight a week")
	if lowOK && highOK && low >= high {
		refuse("band_low_pct_per_week", "must be under band_high_pct_per_week")
	} else if lowOK && highOK && paceOK && (pace < low || pace > high) {
		refuse("pace_pct_per_week", "must lie in the band, %g to %g %% of body weight a week", low, high)
	}
	if w := presentWeightKg; paceOK && w.OK && pace*w.V > 100*maxPaceKgPerWeek+1e-9 {
		refuse("pace_pct_per_week", "would be %.2f kg a week at the present weight; at most %g kg is planned", pace/100*w.V, maxPaceKgPerWeek)
	}
	capOK := isIn("activity_cap_kcal", plan.ActivityCapKcal, 0, maxActivityKcal, "kcal a day")
	if isIn("base_activity_kcal", plan.BaseActivityKcal, 0, maxActivityKcal, "kcal a day") && capOK && plan.BaseActivityKcal > plan.ActivityCapKcal {
		refuse("base_activity_kcal", "must not exceed activity_cap_kcal")
	}
	isIn("weekend_extra_kcal", plan.WeekendExtraKcal, 0, maxWeekendKcal, "kcal a day")
	if fl := plan.IntakeFloorKcal; fl.OK {
		isIn("intake_floor_kcal", fl.V, floorLeastKcal, maxFloorKcal, "kcal a day")
	}
	return problems
}
