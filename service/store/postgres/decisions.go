package postgres

import (
	"errors"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	// The recommendation that was answered is large, and the engine does not read it.
	decisionColumns = `d.plan, d.id, d.from_day, d.action, d.intake_kcal, d.activity_kcal, d.refeed_every_days, d.refeed_intake_kcal,
d.decided_by, d.note, d.recorded`

	// The engine's order: by day, then in order of recording.
	selectDecisionsOfPlans = `SELECT ` + decisionColumns + `, NULL::bytea FROM decision d
WHERE d.tenant = $1 AND d.trainee = $2 AND d.plan = ANY ($3) ORDER BY d.from_day, d.seq`

	selectDecisionsOfOpenPlan = `SELECT ` + decisionColumns + `, NULL::bytea
FROM plan p JOIN decision d ON d.tenant = p.tenant AND d.trainee = p.trainee AND d.plan = p.id
WHERE p.tenant = $1 AND p.trainee = $2 AND p.state = 0 ORDER BY d.from_day, d.seq`

	selectDecisionsBySeq = `SELECT ` + decisionColumns + `, d.given FROM decision d
WHERE d.tenant = $1 AND d.trainee = $2 AND d.plan = $3 AND d.seq > $4 ORDER BY d.seq LIMIT $5`

	selectDecisionSeq = `SELECT seq FROM decision WHERE tenant = $1 AND trainee = $2 AND plan = $3 AND id = $4`

	// Neither a plan that is not there nor a conflict ends the transaction: its
	// caller may do something else.
	insertDecision = `INSERT INTO decision (tenant, trainee, plan, seq, id, from_day, action, intake_kcal, activity_kcal,
refeed_every_days, refeed_intake_kcal, decided_by, note, given, recorded)
SELECT p.tenant, p.trainee, p.id,
(SELECT coalesce(max(d.seq), 0) + 1 FROM decision d WHERE d.tenant = $1 AND d.trainee = $2 AND d.plan = $3),
$4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14
FROM plan p WHERE p.tenant = $1 AND p.trainee = $2 AND p.id = $3 ON CONFLICT DO NOTHING`
)

// decisionRow is a decision and the plan that it is of.
type decisionRow struct {
	store.Decision
	plan string
}

// Decisions implements store.View.
func (v *view) Decisions(plan, after string, limit int) ([]store.Decision, error) {
	if _, err := v.plan(plan); err != nil {
		return nil, v.fail("read plan", err)
	}
	var seq int64
	if after != "" {
		err := v.one(func(r pgx.Row) error { return r.Scan(&seq) }, selectDecisionSeq, v.scope.Tenant, v.scope.Trainee, plan, after)
		if err != nil {
			return nil, v.fail("read decision", err)
		}
	}
	var found []decisionRow
	err := v.each(scanDecision(&found), selectDecisionsBySeq, v.scope.Tenant, v.scope.Trainee, plan, seq, limit)
	var out []store.Decision
	for _, d := range found {
		out = append(out, d.Decision)
	}
	return out, v.fail("read decisions", err)
}

// bare returns decisions as the engine knows them.
func bare(decisions []decisionRow) []engine.Decision {
	var out []engine.Decision
	for _, d := range decisions {
		out = append(out, d.Decision.Decision)
	}
	return out
}

func scanDecision(out *[]decisionRow) func(pgx.Rows) error {
	return func(r pgx.Rows) error {
		var d decisionRow
		var from int32
		var action int16
		var recorded int64
		t := &d.Target
		err := r.Scan(&d.plan, &d.ID, &from, &action, &t.IntakeKcal, &t.ActivityKcal,
			&t.Refeed.EveryDays, &t.Refeed.IntakeKcal, &d.By, &d.Note, &recorded, &d.Given)
		if err == nil && action != int16(engine.Action(action)) {
			err = rows.ErrRange
		}
		d.From, d.Action, d.By, d.Note, d.Recorded = engine.Day(from), engine.Action(action), given(d.By), given(d.Note), instant(recorded)
		*out = append(*out, d)
		return err
	}
}

// InsertDecision implements store.Tx.
func (tx *writeTx) InsertDecision(plan string, d engine.Decision, given []byte) (store.Decision, error) {
	err := tx.change(insertDecision, tx.scope.Tenant, tx.scope.Trainee, plan,
		d.ID, int32(d.From), int16(d.Action), d.Target.IntakeKcal, d.Target.ActivityKcal,
		d.Target.Refeed.EveryDays, d.Target.Refeed.IntakeKcal, free(d.By), free(d.Note), given, tx.now.Unix())
	if errors.Is(err, pgx.ErrNoRows) { // no such plan, or the id is taken
		if _, err = tx.plan(plan); err == nil {
			err = store.ErrExists
		}
	}
	if err != nil {
		return store.Decision{}, tx.fail("insert decision", err)
	}
	return store.Decision{Decision: d, Recorded: tx.now, Given: given}, nil
}
