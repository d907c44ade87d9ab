package rows

import (
	"encoding/json"

	"example.com/steelyard/engine"
)

// planRow is an engine.Plan as it is stored, without what has columns of its own.
type planRow struct {
	Start               engine.Day    `json:"start"`
	GoalWeightKg        *float64      `json:"goal_weight_kg,omitempty"`
	GoalBodyFatPct      *float64      `json:"goal_body_fat_pct,omitempty"`
	Method              engine.Method `json:"method,omitempty"`
	SkipMaintenanceTest bool          `json:"skip_maintenance_test,omitempty"`
	BandLow             float64       `json:"band_low_pct_per_week"`
	BandHigh            float64       `json:"band_high_pct_per_week"`
	Pace                float64       `json:"pace_pct_per_week"`
	FoodLever           bool          `json:"food_lever,omitempty"`
	ActivityLever       bool          `json:"activity_lever,omitempty"`
	BaseActivityKcal    float64       `json:"base_activity_kcal"`
	ActivityCapKcal     float64       `json:"activity_cap_kcal"`
	IntakeFloorKcal     *float64      `json:"intake_floor_kcal,omitempty"`
	AllowRefeeds        *bool         `json:"allow_refeeds,omitempty"` // absent in plans from before there was a choice: allowed
	WeekendExtraKcal    float64       `json:"weekend_extra_kcal,omitempty"`
}

// EncodePlan returns the JSON of a plan's terms: all but its id, its state and
// its decisions.
func EncodePlan(p engine.Plan) (string, error) {
	return encode(planRow{
		Start: p.Start, GoalWeightKg: optional(p.GoalWeightKg), GoalBodyFatPct: optional(p.GoalBodyFatPct),
		Method: p.Method, SkipMaintenanceTest: p.SkipMaintenanceTest,
		BandLow: p.BandLowPctPerWeek, BandHigh: p.BandHighPctPerWeek, Pace: p.PacePctPerWeek,
		FoodLever: p.FoodLever, ActivityLever: p.ActivityLever,
		BaseActivityKcal: p.BaseActivityKcal, ActivityCapKcal: p.ActivityCapKcal, IntakeFloorKcal: optional(p.IntakeFloorKcal),
		AllowRefeeds: &p.AllowRefeeds, WeekendExtraKcal: p.WeekendExtraKcal,
	})
}

// DecodePlan reads what EncodePlan wrote.
func DecodePlan(terms []byte, id string, state engine.PlanState) (engine.Plan, error) {
	var r planRow
	if err := json.Unmarshal(terms, &r); err != nil {
		return engine.Plan{}, err
	}
	return engine.Plan{
		ID: id, State: state,
		Start: r.Start, GoalWeightKg: opt(r.GoalWeightKg), GoalBodyFatPct: opt(r.GoalBodyFatPct),
		Method: r.Method, SkipMaintenanceTest: r.SkipMaintenanceTest,
		BandLowPctPerWeek: r.BandLow, BandHighPctPerWeek: r.BandHigh, PacePctPerWeek: r.Pace,
		FoodLever: r.FoodLever, ActivityLever: r.ActivityLever,
		BaseActivityKcal: r.BaseActivityKcal, ActivityCapKcal: r.ActivityCapKcal, IntakeFloorKcal: opt(r.IntakeFloorKcal),
		AllowRefeeds: r.AllowRefeeds == nil || *r.AllowRefeeds, WeekendExtraKcal: r.WeekendExtraKcal,
	}, nil
}

func encode(row any) (string, error) {
	text, err := json.Marshal(row)
	return string(text), err
}
