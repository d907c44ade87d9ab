package sqlite

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"math"
	"slices"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	// The last parameter but one has a bit for each reason asked for.
	selectDueTalks = `SELECT from_day, trainee, seq, reason, until_day, plan, line FROM due_talk
WHERE tenant = ? AND (from_day, trainee, seq) > (?, ?, ?) AND from_day <= ? AND (until_day IS NULL OR until_day >= ?) AND (1 << reason) & ? <> 0
ORDER BY from_day, trainee, seq LIMIT ?`

	// The open plan, its decisions and the due talks as they are stored, in one row:
	// this runs with every write, and each statement and each row has its price.
	selectDueState = `SELECT plan.id, plan.terms,
(SELECT json_group_array(json_array(from_day, seq, action)) FROM decision
 WHERE tenant = trainee.tenant AND trainee = trainee.trainee AND plan = plan.id),
(SELECT json_group_array(json_object('seq', seq, 'reason', reason, 'from', from_day, 'until', until_day, 'plan', plan, 'line', line)) FROM due_talk
 WHERE tenant = trainee.tenant AND trainee = trainee.trainee)
FROM trainee LEFT JOIN plan ON plan.tenant = trainee.tenant AND plan.trainee = trainee.trainee AND plan.state = 0
WHERE trainee.tenant = ? AND trainee.trainee = ?`

	selectDueDays = `SELECT day, weight_kg, intake_kcal, marks FROM day_rollup
WHERE tenant = ? AND trainee = ? ORDER BY day DESC LIMIT ?`

	selectFirstReadings = `SELECT weight_kg FROM day_rollup
WHERE tenant = ? AND trainee = ? AND day >= ? AND weight_kg IS NOT NULL ORDER BY day LIMIT ?`

	deleteDueOf = `DELETE FROM due_talk WHERE tenant = ? AND trainee = ?`

	selectStale = `SELECT tenant, trainee FROM due_stale LIMIT ?`
	deleteStale = `DELETE FROM due_stale WHERE tenant = ? AND trainee = ?`
)

var insertDue = newBulk(`INSERT INTO due_talk (tenant, trainee, seq, reason, from_day, until_day, plan, line)`, 8, "")

// DueTalks implements store.Roster.
func (s *Store) DueTalks(ctx context.Context, tenant string, q store.DueQuery) ([]store.DueTalk, error) {
	after := store.DuePlace{From: math.MinInt32} // before each talk: places start at 1
	if q.After != nil {
		after = *q.After
	}
	var reasons int64
	for _, r := range q.Reasons {
		reasons |= 1 << r
	}
	if len(q.Reasons) == 0 {
		reasons = -1
	}
	var out []store.DueTalk
	found, err := s.reads[selectDueTalks].QueryContext(ctx, tenant, after.From, after.Trainee, after.Seq, q.AsOf, q.AsOf, reasons, q.Limit)
	err = eachRow(found, err, func(r *sql.Rows) error {
		var t store.DueTalk
		var until sql.Null[engine.Day]
		err := r.Scan(&t.From, &t.Place.Trainee, &t.Place.Seq, &t.Reason, &until, &t.Plan, &t.Line)
		t.Until = engine.OptDay{Day: until.V, OK: until.Valid}
		t.Place.From = t.From
		out = append(out, t)
		return err
	})
	return out, fail(ctx, "read due talks", err)
}

// dueRow is a row of due_talk within its scope.
type dueRow struct {
	phase.Due
	plan string
}

// dueState is what selectDueState reads.
type dueState struct {
	plan   *engine.Plan // the open one; of its decisions day and action
	stored []dueRow
}

// keepDue makes the due talks what the log, the profile and the open plan now
// come to. Most writes change none of them: only what differs is written.
func (tx *writeTx) keepDue() error {
	state, err := tx.dueState()
	if err != nil {
		return tx.fail("read due talks", err)
	}
	var want []dueRow
	if state.plan != nil { // nothing is due without an open plan
		if want, err = tx.deriveDue(*state.plan); err != nil {
			return tx.fail("derive due talks", err)
		}
	}
	if slices.Equal(want, state.stored) {
		return nil
	}
	if _, err := tx.exec(deleteDueOf, tx.scope.Tenant, tx.scope.Trainee); err != nil {
		return tx.fail("replace due talks", err)
	}
	var args []any
	for i, d := range want {
		until := sql.Null[engine.Day]{V: d.Until.Day, Valid: d.Until.OK}
		args = append(args, tx.scope.Tenant, tx.scope.Trainee, i+1, d.Reason, d.From, until, d.plan, d.Line)
	}
	return tx.fail("replace due talks", tx.put(insertDue, args))
}

func (tx *writeTx) dueState() (dueState, error) {
	var id, terms sql.NullString
	var decisions, talks []byte
	if err := tx.row(selectDueState, tx.scope.Tenant, tx.scope.Trainee).Scan(&id, &terms, &decisions, &talks); err != nil {
		return dueState{}, err
	}
	var s dueState
	var err error
	if s.stored, err = decodeDueRows(talks); err != nil || !id.Valid {
		return s, err
	}
	plan, err := rows.DecodePlan([]byte(terms.String), id.String, engine.PlanOpen)
	if err != nil {
		return s, err
	}
	plan.Decisions, err = decodeDueDecisions(decisions)
	s.plan = &plan
	return s, err
}

// decodeDueDecisions returns decisions in the engine's order: by day, then in
// order of recording.
func decodeDueDecisions(text []byte) ([]engine.Decision, error) {
	var found [][3]int64 // day, seq, action
	if err := json.Unmarshal(text, &found); err != nil {
		return nil, err
	}
	slices.SortFunc(found, func(a, b [3]int64) int { return slices.Compare(a[:2], b[:2]) })
	var out []engine.Decision
	for _, r := range found {
		out = append(out, engine.Decision{From: engine.Day(r[0]), Action: engine.Action(r[2])})
	}
	return out, nil
}

// dueJSON is a row of due_talk as selectDueState gives it.
type dueJSON struct {
	Seq    int             `json:"seq"`
	Reason phase.DueReason `json:"reason"`
	From   engine.Day      `json:"from"`
	Until  *engine.Day     `json:"until"`
	Plan   string          `json:"plan"`
	Line   string          `json:"line"`
}

// decodeDueRows returns due talks by their place.
func decodeDueRows(text []byte) ([]dueRow, error) {
	var found []dueJSON
	if err := json.Unmarshal(text, &found); err != nil {
		return nil, err
	}
	slices.SortFunc(found, func(a, b dueJSON) int { return cmp.Compare(a.Seq, b.Seq) })
	var out []dueRow
	for _, r := range found {
		d := dueRow{phase.Due{Reason: r.Reason, From: r.From, Line: r.Line}, r.Plan}
		if r.Until != nil {
			d.Until = engine.SomeDay(*r.Until)
		}
		out = append(out, d)
	}
	return out, nil
}

// deriveDue asks the engine.
func (tx *writeTx) deriveDue(plan engine.Plan) ([]dueRow, error) {
	w, err := tx.dueWindow()
	if err != nil {
		return nil, err
	}
	first, err := tx.firstReadings(plan.Start, w)
	if err != nil {
		return nil, err
	}
	var out []dueRow
	for _, d := range phase.DueTalks(w, first, tx.trainee.Profile, plan) {
		out = append(out, dueRow{d, plan.ID})
	}
	return out, nil
}

// dueWindow reads the last days of the log, as far as the due talks rest on them.
func (tx *writeTx) dueWindow() (engine.Window, error) {
	var w engine.Window
	var day engine.Day
	var weight, intake sql.NullFloat64
	var marks engine.MarkSet
	err := tx.each(func(r *sql.Rows) error {
		if err := r.Scan(&day, &weight, &intake, &marks); err != nil {
			return err
		}
		if w.Days == nil {
			w = engine.Window{First: day - phase.DueDays + 1, Days: make([]engine.WindowDay, phase.DueDays)}
		}
		if day >= w.First {
			w.Days[day-w.First] = engine.WindowDay{WeightKg: known(weight), IntakeKcal: known(intake), Marks: marks}
		}
		return nil
	}, selectDueDays, tx.scope.Tenant, tx.scope.Trainee, phase.DueDays)
	return w, err
}

// firstReadings returns the first readings from a day on: from the window where
// it reaches back that far.
func (tx *writeTx) firstReadings(from engine.Day, w engine.Window) ([]float64, error) {
	var out []float64
	if w.First <= from {
		for d := from; d < w.End() && len(out) < phase.DueFirstReadings; d++ {
			if r := w.At(d).WeightKg; r.OK {
				out = append(out, r.V)
			}
		}
		return out, nil
	}
	err := tx.each(func(r *sql.Rows) error {
		var kg float64
		err := r.Scan(&kg)
		out = append(out, kg)
		return err
	}, selectFirstReadings, tx.scope.Tenant, tx.scope.Trainee, from, phase.DueFirstReadings)
	return out, err
}

// staleBatch bounds how many trainees one transaction of renewDue is about.
const staleBatch = 500

// renewDue derives the due talks of the trainees that a migration has left to do.
// What was done stays done when it is interrupted. No head moves: nothing that
// the engine reads has changed.
func (s *Store) renewDue(ctx context.Context) error {
	for {
		n := 0
		err := s.write(ctx, func(c conn) error {
			stale, err := staleScopes(c)
			if err != nil {
				return fail(ctx, "read stale due talks", err)
			}
			n = len(stale)
			for _, sc := range stale {
				if err := renew(c, sc); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil || n == 0 {
			return err
		}
	}
}

func staleScopes(c conn) ([]store.Scope, error) {
	var out []store.Scope
	err := c.each(func(r *sql.Rows) error {
		var sc store.Scope
		err := r.Scan(&sc.Tenant, &sc.Trainee)
		out = append(out, sc)
		return err
	}, selectStale, staleBatch)
	return out, err
}

func renew(c conn, sc store.Scope) error {
	tx := &writeTx{view: view{conn: c, scope: sc}}
	err := tx.load(selectTrainee)
	if err == nil {
		err = tx.keepDue()
	}
	if err == nil {
		_, err = tx.exec(deleteStale, sc.Tenant, sc.Trainee)
	}
	return tx.fail("renew due talks", err)
}
