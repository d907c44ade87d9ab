package sqlite

import (
	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

const (
	decisionColumns = `id, from_day, action, intake_kcal, activity_kcal, refeed_every_days, refeed_intake_kcal, decided_by, note, given, recorded`

	// The engine's order: by day, then in order of recording. The recommendation
	// that was answered is large, and the engine does not read it.
	selectDecisionsByDay = `SELECT id, from_day, action, intake_kcal, activity_kcal, refeed_every_days, refeed_intake_kcal, decided_by, note, NULL, recorded FROM decision
WHERE tenant = ? AND trainee = ? AND plan = ? ORDER BY from_day, seq`

	selectDecisionsBySeq = `SELECT ` + decisionColumns + ` FROM decision
WHERE tenant = ? AND trainee = ? AND plan = ? AND seq > ? ORDER BY seq LIMIT ?`

	selectDecisionSeq = `SELECT seq FROM decision WHERE tenant = ? AND trainee = ? AND plan = ? AND id = ?`

	insertDecision = `INSERT INTO decision (tenant, trainee, plan, seq, ` + decisionColumns + `)
SELECT ?1, ?2, ?3, coalesce(max(seq), 0) + 1, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14
FROM decision WHERE tenant = ?1 AND trainee = ?2 AND plan = ?3`
)

// Decisions implements store.View.
func (v *view) Decisions(plan, after string, limit int) ([]store.Decision, error) {
	if _, err := v.plan(selectPlan, plan); err != nil {
		return nil, v.fail("read plan", err)
	}
	var seq int64
	if after != "" {
		err := v.row(func(st *driver.Stmt) error {
			seq = st.ColumnInt64(0)
			return nil
		}, selectDecisionSeq, v.scope.Tenant, v.scope.Trainee, plan, after)
		if err != nil {
			return nil, v.fail("read decision", err)
		}
	}
	var out []store.Decision
	err := v.each(func(st *driver.Stmt) error {
		d, err := scanDecision(st)
		out = append(out, d)
		return err
	}, selectDecisionsBySeq, v.scope.Tenant, v.scope.Trainee, plan, seq, limit)
	return out, v.fail("read decisions", err)
}

func (v *view) decisionsByDay(plan string) ([]engine.Decision, error) {
	var out []engine.Decision
	err := v.each(func(st *driver.Stmt) error {
		d, err := scanDecision(st)
		out = append(out, d.Decision)
		return err
	}, selectDecisionsByDay, v.scope.Tenant, v.scope.Trainee, plan)
	return out, err
}

// scanDecision reads decisionColumns.
func scanDecision(st *driver.Stmt) (store.Decision, error) {
	action, err := columnSmall[engine.Action](st, 2)
	d := store.Decision{Recorded: instant(st.ColumnInt64(10))}
	d.ID, d.From, d.Action, d.By, d.Note = st.ColumnText(0), columnDay(st, 1), action, st.ColumnText(7), st.ColumnText(8)
	d.Target.IntakeKcal, d.Target.ActivityKcal = st.ColumnFloat(3), st.ColumnFloat(4)
	d.Target.Refeed.EveryDays, d.Target.Refeed.IntakeKcal = st.ColumnInt(5), st.ColumnFloat(6)
	if !st.ColumnIsNull(9) {
		d.Given = columnBytes(st, 9, []byte{})
	}
	return d, err
}

// InsertDecision implements store.Tx. A plan that is not there is refused by
// the foreign key.
func (tx *writeTx) InsertDecision(plan string, d engine.Decision, given []byte) (store.Decision, error) {
	_, err := tx.exec(insertDecision, tx.scope.Tenant, tx.scope.Trainee, plan,
		d.ID, int64(d.From), int64(d.Action), d.Target.IntakeKcal, d.Target.ActivityKcal,
		d.Target.Refeed.EveryDays, d.Target.Refeed.IntakeKcal, d.By, d.Note, nullableBytes(given), tx.now.Unix())
	if err != nil {
		return store.Decision{}, tx.fail("insert decision", err)
	}
	return store.Decision{Decision: d, Recorded: tx.now, Given: given}, nil
}
