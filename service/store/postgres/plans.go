package postgres

import (
	"errors"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	planColumns = `id, state, terms, created, updated`

	selectPlan     = `SELECT ` + planColumns + ` FROM plan WHERE tenant = $1 AND trainee = $2 AND id = $3`
	selectPlans    = `SELECT ` + planColumns + ` FROM plan WHERE tenant = $1 AND trainee = $2 AND id > $3 ORDER BY id LIMIT $4`
	selectOpenPlan = `SELECT ` + planColumns + ` FROM plan WHERE tenant = $1 AND trainee = $2 AND state = 0`

	// A conflict must not end the transaction: its caller may do something else.
	insertPlan = `INSERT INTO plan (tenant, trainee, id, state, terms, created, updated)
VALUES ($1, $2, $3, $4, $5, $6, $6) ON CONFLICT DO NOTHING`

	// Nor must a second open plan, which no clause of an UPDATE survives.
	updatePlan = `UPDATE plan SET state = $4, terms = $5, updated = $6 WHERE tenant = $1 AND trainee = $2 AND id = $3
AND NOT ($4::smallint = 0 AND EXISTS (SELECT FROM plan o WHERE o.tenant = $1 AND o.trainee = $2 AND o.state = 0 AND o.id <> $3))`
)

// Plan implements store.View.
func (v *view) Plan(id string) (store.Plan, error) {
	p, err := v.plan(id)
	return p, v.fail("read plan", err)
}

// Plans implements store.View.
func (v *view) Plans(after string, limit int) ([]store.Plan, error) {
	plans, err := v.plans(selectPlans, after, limit)
	return plans, v.fail("read plans", err)
}

// plan reads one plan with its decisions.
func (v *view) plan(id string) (store.Plan, error) {
	plans, err := v.plans(selectPlan, id)
	if err != nil {
		return store.Plan{}, err
	}
	if len(plans) == 0 {
		return store.Plan{}, pgx.ErrNoRows
	}
	return plans[0], nil
}

// plans reads what a query with planColumns finds in this scope, with decisions.
func (v *view) plans(query string, args ...any) ([]store.Plan, error) {
	var out []store.Plan
	err := v.each(scanPlan(&out), query, append([]any{v.scope.Tenant, v.scope.Trainee}, args...)...)
	if err != nil || len(out) == 0 {
		return nil, err
	}
	ids := make([]string, len(out))
	places := map[string]int{}
	for i, p := range out {
		ids[i] = p.ID
		places[p.ID] = i
	}
	var decisions []decisionRow
	if err := v.each(scanDecision(&decisions), selectDecisionsOfPlans, v.scope.Tenant, v.scope.Trainee, ids); err != nil {
		return nil, err
	}
	for _, d := range decisions {
		p := &out[places[d.plan]]
		p.Decisions = append(p.Decisions, d.Decision.Decision)
	}
	return out, nil
}

func scanPlan(out *[]store.Plan) func(pgx.Rows) error {
	return func(r pgx.Rows) error {
		var id, terms string
		var state int16
		var created, updated int64
		if err := r.Scan(&id, &state, &terms, &created, &updated); err != nil {
			return err
		}
		plan, err := rows.DecodePlan([]byte(terms), id, engine.PlanState(state))
		*out = append(*out, store.Plan{Plan: plan, Created: instant(created), Updated: instant(updated)})
		return err
	}
}

// InsertPlan implements store.Tx.
func (tx *writeTx) InsertPlan(p engine.Plan) (store.Plan, error) {
	terms, err := rows.EncodePlan(p)
	if err == nil {
		err = tx.change(insertPlan, tx.scope.Tenant, tx.scope.Trainee, p.ID, int16(p.State), terms, tx.now.Unix())
	}
	if errors.Is(err, pgx.ErrNoRows) {
		err = store.ErrExists
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
		err = tx.change(updatePlan, tx.scope.Tenant, tx.scope.Trainee, p.ID, int16(p.State), terms, tx.now.Unix())
	}
	if errors.Is(err, pgx.ErrNoRows) { // no such plan, or another is open
		if _, err = tx.plan(p.ID); err == nil {
			err = store.ErrExists
		}
	}
	if err != nil {
		return store.Plan{}, tx.fail("put plan", err)
	}
	return tx.Plan(p.ID)
}
