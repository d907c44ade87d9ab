package sqlite

import (
	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	planColumns = `id, state, terms, created, updated`

	selectPlan     = `SELECT ` + planColumns + ` FROM plan WHERE tenant = ? AND trainee = ? AND id = ?`
	selectPlans    = `SELECT ` + planColumns + ` FROM plan WHERE tenant = ? AND trainee = ? AND id > ? ORDER BY id LIMIT ?`
	selectOpenPlan = `SELECT ` + planColumns + ` FROM plan WHERE tenant = ? AND trainee = ? AND state = 0`

	insertPlan = `INSERT INTO plan (tenant, trainee, id, state, terms, created, updated) VALUES (?, ?, ?, ?, ?, ?, ?)`
	updatePlan = `UPDATE plan SET state = ?, terms = ?, updated = ? WHERE tenant = ? AND trainee = ? AND id = ?`
)

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
		return store.Plan{}, errNoRow
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
	err := v.each(func(st *driver.Stmt) error {
		state, err := columnSmall[engine.PlanState](st, 1)
		if err != nil {
			return err
		}
		plan, err := rows.DecodePlan(columnBytes(st, 2, nil), st.ColumnText(0), state)
		out = append(out, store.Plan{Plan: plan, Created: instant(st.ColumnInt64(3)), Updated: instant(st.ColumnInt64(4))})
		return err
	}, query, append([]any{v.scope.Tenant, v.scope.Trainee}, args...)...)
	if err != nil {
		return nil, err
	}
	return out, nil
}

// InsertPlan implements store.Tx.
func (tx *writeTx) InsertPlan(p engine.Plan) (store.Plan, error) {
	terms, err := rows.EncodePlan(p)
	if err == nil {
		_, err = tx.exec(insertPlan, tx.scope.Tenant, tx.scope.Trainee, p.ID, int64(p.State), terms, tx.now.Unix(), tx.now.Unix())
	}
	if err != nil {
		return store.Plan{}, tx.fail("insert plan", err)
	}
	return tx.Plan(p.ID)
}

// PutPlan implements store.Tx.
func (tx *writeTx) PutPlan(p engine.Plan) (store.Plan, error) {
	terms, err := rows.EncodePlan(p)
	if err == nil {
		err = tx.change(updatePlan, int64(p.State), terms, tx.now.Unix(), tx.scope.Tenant, tx.scope.Trainee, p.ID)
	}
	if err != nil {
		return store.Plan{}, tx.fail("put plan", err)
	}
	return tx.Plan(p.ID)
}
