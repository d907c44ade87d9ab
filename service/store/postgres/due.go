package postgres

import (
	"context"
	"math"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/store"
)

const (
	// The last parameter but one has a bit for each reason asked for.
	selectDueTalks = `SELECT from_day, trainee, seq, reason, until_day, plan, line FROM due_talk
WHERE tenant = $1 AND (from_day, trainee, seq) > ($2, $3, $4) AND from_day <= $5 AND (until_day IS NULL OR until_day >= $5)
AND (1 << reason) & $6 <> 0
ORDER BY from_day, trainee, seq LIMIT $7`

	selectDueOf = `SELECT from_day, trainee, seq, reason, until_day, plan, line FROM due_talk
WHERE tenant = $1 AND trainee = $2 ORDER BY seq`

	selectDueDays = `SELECT day, weight_kg, intake_kcal, marks FROM day_rollup
WHERE tenant = $1 AND trainee = $2 ORDER BY day DESC LIMIT $3`

	selectFirstReadings = `SELECT weight_kg FROM day_rollup
WHERE tenant = $1 AND trainee = $2 AND day >= $3 AND weight_kg IS NOT NULL ORDER BY day LIMIT $4`

	deleteDueOf = `DELETE FROM due_talk WHERE tenant = $1 AND trainee = $2`

	insertDue = `INSERT INTO due_talk (tenant, trainee, seq, reason, from_day, until_day, plan, line)
SELECT $1, $2, g.* FROM unnest($3::integer[], $4::smallint[], $5::integer[], $6::integer[], $7::text[], $8::text[]) g`

	// Who is left to do is looked for over all tenants, in a transaction that says so.
	setUpkeep   = `SELECT set_config('steelyard.upkeep', 'on', true)`
	selectStale = `SELECT tenant, trainee FROM due_stale LIMIT $1`

	lockAndSelectTrainee = selectTrainee + ` FOR UPDATE`
	deleteStale          = `DELETE FROM due_stale WHERE tenant = $1 AND trainee = $2`
)

// DueTalks implements store.Roster.
func (s *Store) DueTalks(ctx context.Context, tenant string, q store.DueQuery) ([]store.DueTalk, error) {
	after := store.DuePlace{From: math.MinInt32} // before each talk: places start at 1
	if q.After != nil {
		after = *q.After
	}
	var reasons int32
	for _, r := range q.Reasons {
		reasons |= 1 << r
	}
	if len(q.Reasons) == 0 {
		reasons = -1
	}
	var out []store.DueTalk
	b := &pgx.Batch{}
	named(ctx, b, tenant)
	b.Queue(selectDueTalks, tenant, int32(after.From), after.Trainee, after.Seq, int32(q.AsOf), reasons, q.Limit).Query(eachRow(scanDue(&out)))
	if err := s.ask(ctx, b); err != nil {
		return nil, fail(ctx, "read due talks", err)
	}
	return out, nil
}

func scanDue(out *[]store.DueTalk) func(pgx.Rows) error {
	return func(r pgx.Rows) error {
		var t store.DueTalk
		var from int32
		var reason int16
		var until pgtype.Int4
		err := r.Scan(&from, &t.Place.Trainee, &t.Place.Seq, &reason, &until, &t.Plan, &t.Line)
		t.From, t.Reason = engine.Day(from), phase.DueReason(reason)
		t.Until = engine.OptDay{Day: engine.Day(until.Int32), OK: until.Valid}
		t.Place.From = t.From
		*out = append(*out, t)
		return err
	}
}

// dueState is what the due talks of a trainee rest on, and what they are by now.
type dueState struct {
	plans     []store.Plan // the open one
	decisions []decisionRow
	stored    []store.DueTalk
	window    engine.Window // the last days of the log, as far as the talks rest on them
}

// keepDue makes the due talks what the log, the profile and the open plan now
// come to. Most writes change none of them: only what differs is written.
func (tx *writeTx) keepDue() error {
	state, err := tx.dueState()
	if err != nil {
		return tx.fail("read due talks", err)
	}
	var want []store.DueTalk
	if len(state.plans) == 1 { // nothing is due without an open plan
		if want, err = tx.deriveDue(state); err != nil {
			return tx.fail("derive due talks", err)
		}
	}
	if slices.Equal(want, state.stored) {
		return nil
	}
	return tx.fail("replace due talks", tx.replaceDue(want))
}

// dueState reads everything in one go.
func (tx *writeTx) dueState() (dueState, error) {
	var s dueState
	tenant, trainee := tx.scope.Tenant, tx.scope.Trainee
	b := &pgx.Batch{}
	b.Queue(selectOpenPlan, tenant, trainee).Query(eachRow(scanPlan(&s.plans)))
	b.Queue(selectDecisionsOfOpenPlan, tenant, trainee).Query(eachRow(scanDecision(&s.decisions)))
	b.Queue(selectDueOf, tenant, trainee).Query(eachRow(scanDue(&s.stored)))
	b.Queue(selectDueDays, tenant, trainee, int32(phase.DueDays)).Query(eachRow(scanDueDay(&s.window)))
	return s, tx.send(b)
}

// scanDueDay lays rows, the last day first, into a window of phase.DueDays.
func scanDueDay(w *engine.Window) func(pgx.Rows) error {
	var on, marks int32
	var weight, intake pgtype.Float8
	return func(r pgx.Rows) error {
		if err := r.Scan(&on, &weight, &intake, &marks); err != nil {
			return err
		}
		day := engine.Day(on)
		if w.Days == nil {
			*w = engine.Window{First: day - phase.DueDays + 1, Days: make([]engine.WindowDay, phase.DueDays)}
		}
		if day >= w.First {
			w.Days[day-w.First] = engine.WindowDay{WeightKg: known(weight), IntakeKcal: known(intake), Marks: engine.MarkSet(marks)}
		}
		return nil
	}
}

// deriveDue asks the engine.
func (tx *writeTx) deriveDue(s dueState) ([]store.DueTalk, error) {
	plan := s.plans[0].Plan
	plan.Decisions = bare(s.decisions)
	first, err := tx.firstReadings(plan.Start, s.window)
	if err != nil {
		return nil, err
	}
	var out []store.DueTalk
	for i, d := range phase.DueTalks(s.window, first, tx.trainee.Profile, plan) {
		out = append(out, store.DueTalk{Place: store.DuePlace{From: d.From, Trainee: tx.scope.Trainee, Seq: i + 1}, Plan: plan.ID, Due: d})
	}
	return out, nil
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
	err := tx.each(func(r pgx.Rows) error {
		var kg float64
		err := r.Scan(&kg)
		out = append(out, kg)
		return err
	}, selectFirstReadings, tx.scope.Tenant, tx.scope.Trainee, int32(from), phase.DueFirstReadings)
	return out, err
}

func (tx *writeTx) replaceDue(want []store.DueTalk) error {
	b := &pgx.Batch{}
	b.Queue(deleteDueOf, tx.scope.Tenant, tx.scope.Trainee)
	if len(want) > 0 {
		var seqs, from []int32
		var reasons []int16
		var until []pgtype.Int4
		var plans, lines []string
		for _, d := range want {
			seqs, from, reasons = append(seqs, int32(d.Place.Seq)), append(from, int32(d.From)), append(reasons, int16(d.Reason))
			until = append(until, pgtype.Int4{Int32: int32(d.Until.Day), Valid: d.Until.OK})
			plans, lines = append(plans, d.Plan), append(lines, d.Line)
		}
		b.Queue(insertDue, tx.scope.Tenant, tx.scope.Trainee, seqs, reasons, from, until, plans, lines)
	}
	return tx.send(b)
}

// staleBatch bounds how many trainees renewDue holds in memory.
const staleBatch = 500

// renewDue derives the due talks of the trainees that a migration has left to do.
// What was done stays done when it is interrupted, and programs that start at once
// may share the work. No head moves: nothing that the engine reads has changed.
func (s *Store) renewDue(ctx context.Context) error {
	for {
		var stale []store.Scope
		b := &pgx.Batch{}
		b.Queue(setUpkeep)
		b.Queue(selectStale, staleBatch).Query(eachRow(func(r pgx.Rows) error {
			var sc store.Scope
			err := r.Scan(&sc.Tenant, &sc.Trainee)
			stale = append(stale, sc)
			return err
		}))
		if err := s.ask(ctx, b); err != nil {
			return fail(ctx, "read stale due talks", err)
		}
		if len(stale) == 0 {
			return nil
		}
		for _, sc := range stale {
			if err := s.renew(ctx, sc); err != nil {
				return fail(ctx, "renew due talks", err)
			}
		}
	}
}

// renew does it for one trainee. One that was erased meanwhile took its row along.
func (s *Store) renew(ctx context.Context, sc store.Scope) error {
	v, err := s.open(ctx, sc)
	if err != nil {
		return err
	}
	defer v.end()
	tx := &writeTx{view: *v, now: time.Time{}}
	there := false
	err = tx.start(beginWrite, func(b *pgx.Batch) {
		b.Queue(lockAndSelectTrainee, sc.Tenant, sc.Trainee).Query(eachRow(func(r pgx.Rows) error {
			there = true
			return tx.scanTrainee(r)
		}))
	})
	if err != nil || !there {
		return err
	}
	if err := tx.keepDue(); err != nil {
		return err
	}
	return tx.commit(func(b *pgx.Batch) { b.Queue(deleteStale, sc.Tenant, sc.Trainee) })
}
