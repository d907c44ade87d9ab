package sqlite

import (
	"database/sql"
	"encoding/json"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

const (
	planColumns = `id, state, terms, created, updated`

	selectPlan     = `SELECT ` + planColumns + ` FROM plan WHERE tenant = ? AND trainee = ? AND id = ?`
	selectPlans    = `SELECT ` + planColumns + ` FROM plan WHERE tenant = ? AND trainee = ? AND id > ? ORDER BY id LIMIT ?`
	selectOpenPlan = `SELECT ` + planColumns + ` FROM plan WHERE tenant = ? AND trainee = ? AND state = 0`

	insertPlan = `INSERT INTO plan (tenant, trainee, id, state, terms, created, updated) VALUES (?, ?, ?, ?, ?, ?, ?)`
	updatePlan = `UPDATE plan SET state = ?, terms = ?, updated = ? WHERE tenant = ? AND trainee = ? AND id = ?`
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

func encodePlan(p engine.Plan) (string, error) {
	return encode(planRow{
		Start: p.Start, GoalWeightKg: optional(p.GoalWeightKg), GoalBodyFatPct: optional(p.GoalBodyFatPct),
		Method: p.Method, SkipMaintenanceTest: p.SkipMaintenanceTest,
		BandLow: p.BandLowPctPerWeek, BandHigh: p.BandHighPctPerWeek, Pace: p.PacePctPerWeek,
		FoodLever: p.FoodLever, ActivityLever: p.ActivityLever,
		BaseActivityKcal: p.BaseActivityKcal, ActivityCapKcal: p.ActivityCapKcal, IntakeFloorKcal: optional(p.IntakeFloorKcal),
		AllowRefeeds: &p.AllowRefeeds, WeekendExtraKcal: p.WeekendExtraKcal,
	})
}

func (r planRow) plan(id string, state engine.PlanState) engine.Plan {
	return engine.Plan{
		ID: id, State: state,
		Start: r.Start, GoalWeightKg: opt(r.GoalWeightKg), GoalBodyFatPct: opt(r.GoalBodyFatPct),
		Method: r.Method, SkipMaintenanceTest: r.SkipMaintenanceTest,
		BandLowPctPerWeek: r.BandLow, BandHighPctPerWeek: r.BandHigh, PacePctPerWeek: r.Pace,
		FoodLever: r.FoodLever, ActivityLever: r.ActivityLever,
		BaseActivityKcal: r.BaseActivityKcal, ActivityCapKcal: r.ActivityCapKcal, IntakeFloorKcal: opt(r.IntakeFloorKcal),
		AllowRefeeds: r.AllowRefeeds == nil || *r.AllowRefeeds, WeekendExtraKcal: r.WeekendExtraKcal,
	}
}

// Plan implements store.View.
func (v *view) Plan(id string) (store.Plan, error) {
	p, err := v.plan(selectPlan, id)
	return p, v.fail("read plan", err)
}

// Plans implements store.View.
func (v *view) Plans(after string, limit int) ([]store.Plan, error) {
	plans, err := v.plans(selectPlans, after, limit)
	return plans, v.fail("read plans", err)
}

// plan reads the one plan that a query finds.
func (v *view) plan(query string, args ...any) (store.Plan, error) {
	plans, err := v.plans(query, args...)
	if err != nil {
		return store.Plan{}, err
	}
	if len(plans) == 0 {
		return store.Plan{}, sql.ErrNoRows
	}
	return plans[0], nil
}

// plans reads what a query with planColumns finds in this scope, with decisions.
func (v *view) plans(query string, args ...any) ([]store.Plan, error) {
	out, err := v.barePlans(query, args...)
	for i := range out {
		if out[i].Decisions, err = v.decisionsByDay(out[i].ID); err != nil {
			return nil, err
		}
	}
	return out, err
}

// barePlans is plans without decisions.
func (v *view) barePlans(query string, args ...any) ([]store.Plan, error) {
	var out []store.Plan
	err := v.each(func(rows *sql.Rows) error {
		var id string
		var state engine.PlanState
		var terms sql.RawBytes
		var created, updated int64
		if err := rows.Scan(&id, &state, &terms, &created, &updated); err != nil {
			return err
		}
		var row planRow
		if err := json.Unmarshal(terms, &row); err != nil {
			return err
		}
		out = append(out, store.Plan{Plan: row.plan(id, state), Created: instant(created), Updated: instant(updated)})
		return nil
	}, query, append([]any{v.scope.Tenant, v.scope.Trainee}, args...)...)
	if err != nil {
		return nil, err
	}
	return out, nil
}

// InsertPlan implements store.Tx.
func (tx *writeTx) InsertPlan(p engine.Plan) (store.Plan, error) {
	terms, err := encodePlan(p)
	if err == nil {
		_, err = tx.exec(insertPlan, tx.scope.Tenant, tx.scope.Trainee, p.ID, p.State, terms, tx.now.Unix(), tx.now.Unix())
	}
	if err != nil {
		return store.Plan{}, tx.fail("insert plan", err)
	}
	return tx.Plan(p.ID)
}

// PutPlan implements store.Tx.
func (tx *writeTx) PutPlan(p engine.Plan) (store.Plan, error) {
	terms, err := encodePlan(p)
	if err == nil {
		err = tx.change(updatePlan, p.State, terms, tx.now.Unix(), tx.scope.Tenant, tx.scope.Trainee, p.ID)
	}
	if err != nil {
		return store.Plan{}, tx.fail("put plan", err)
	}
	return tx.Plan(p.ID)
}
