package sqlite

import (
	"cmp"
	"encoding/json"
	"errors"
	"slices"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/store/internal/rows"
)

const (
	// The open plan, its decisions and the due talks as they are stored, in one row:
	// this follows nearly every write, and each statement and each row has its price.
	selectDueState = `SELECT plan.id, plan.terms,
(SELECT json_group_array(json_array(from_day, seq, action)) FROM decision
 WHERE tenant = trainee.tenant AND trainee = trainee.trainee AND plan = plan.id),
(SELECT json_group_array(json_object('seq', seq, 'reason', reason, 'from', from_day, 'until', until_day, 'plan', plan, 'line', line)) FROM due_talk
 WHERE tenant = trainee.tenant AND trainee = trainee.trainee)
FROM trainee LEFT JOIN plan ON plan.tenant = trainee.tenant AND plan.trainee = trainee.trainee AND plan.state = 0
WHERE trainee.tenant = ? AND trainee.trainee = ?`

	// The last two blocks have all days that due talks rest on.
	selectDueDays = `SELECT block, packed FROM day_rollup WHERE trainee_id = ?1
AND block >= (SELECT max(block) FROM day_rollup WHERE trainee_id = ?1) - 1 ORDER BY block`
)

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

// deriveDue returns the due talks that the log, the profile and the open plan come
// to, and whether they are those that are stored.
func (v *view) deriveDue() (talks []dueRow, isStored bool, err error) {
	state, err := v.dueState()
	if err != nil {
		return nil, false, v.fail("read due talks", err)
	}
	if state.plan != nil { // nothing is due without an open plan
		if talks, err = v.dueOf(*state.plan); err != nil {
			return nil, false, v.fail("derive due talks", err)
		}
	}
	return talks, slices.Equal(talks, state.stored), nil
}

func (v *view) dueState() (dueState, error) {
	var s dueState
	err := v.row(func(st *driver.Stmt) error {
		var err error
		if s.stored, err = decodeDueRows(columnBytes(st, 3, nil)); err != nil || st.ColumnIsNull(0) {
			return err
		}
		plan, err := rows.DecodePlan(columnBytes(st, 1, nil), st.ColumnText(0), engine.PlanOpen)
		if err != nil {
			return err
		}
		plan.Decisions, err = decodeDueDecisions(columnBytes(st, 2, nil))
		s.plan = &plan
		return err
	}, selectDueState, v.scope.Tenant, v.scope.Trainee)
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

// dueOf asks the engine.
func (v *view) dueOf(plan engine.Plan) ([]dueRow, error) {
	w, err := v.dueWindow()
	if err != nil {
		return nil, err
	}
	first, err := v.firstReadings(plan.Start, w)
	if err != nil {
		return nil, err
	}
	trainee, err := v.Trainee()
	if err != nil {
		return nil, err
	}
	var out []dueRow
	for _, d := range phase.DueTalks(w, first, trainee.Profile, plan) {
		out = append(out, dueRow{d, plan.ID})
	}
	return out, nil
}

// dueWindow reads the last days of the log, as far as the due talks rest on them.
func (v *view) dueWindow() (engine.Window, error) {
	var w engine.Window
	err := v.rollups(func(d rows.PackedDay) error {
		if w.Days == nil {
			w.First = d.Day
		}
		return rows.DecodeDay(d.Packed, d.Day, &w)
	}, selectDueDays, v.id)
	if err != nil || w.Days == nil {
		return engine.Window{}, err
	}
	days := make([]engine.WindowDay, phase.DueDays)
	for i := range days {
		days[i] = w.At(w.End() - phase.DueDays + engine.Day(i))
	}
	return engine.Window{First: w.End() - phase.DueDays, Days: days}, nil
}

// errEnough ends a reading.
var errEnough = errors.New("enough")

// firstReadings returns the first readings from a day on: from the window where
// it reaches back that far.
func (v *view) firstReadings(from engine.Day, w engine.Window) ([]float64, error) {
	if w.First > from {
		w = engine.Window{First: from}
		found := 0
		err := v.rollups(func(d rows.PackedDay) error {
			if d.Day < from {
				return nil
			}
			err := rows.DecodeDay(d.Packed, d.Day, &w)
			if err == nil && w.At(d.Day).WeightKg.OK {
				found++
			}
			if found == phase.DueFirstReadings {
				return errEnough
			}
			return err
		}, selectRollups, v.id, rows.Block(from))
		if err != nil && !errors.Is(err, errEnough) {
			return nil, err
		}
	}
	var out []float64
	for d := from; d < w.End() && len(out) < phase.DueFirstReadings; d++ {
		if r := w.At(d).WeightKg; r.OK {
			out = append(out, r.V)
		}
	}
	return out, nil
}
