package postgres

import (
	"context"
	"math"
	"slices"

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
)

// DueTalks implements store.Roster. What is stale of the tenant is looked for before
// the talks are read, so that no write is missed that was acknowledged before the call.
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
	var stale []string
	read := func() error {
		out, stale = nil, nil
		b := &pgx.Batch{}
		named(ctx, b, tenant)
		b.Queue(selectStaleOf, tenant, "", staleBatch).Query(eachRow(scanText(&stale)))
		b.Queue(selectDueTalks, tenant, int32(after.From), after.Trainee, after.Seq, int32(q.AsOf), reasons, q.Limit).Query(eachRow(scanDue(&out)))
		return s.ask(ctx, b)
	}
	err := read()
	if err == nil && len(stale) > 0 {
		if err := s.renewTenant(ctx, tenant, stale); err != nil {
			return nil, err
		}
		err = read()
	}
	if err != nil {
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

// dueState is what the due talks of one trainee rest on, and what they were.
type dueState struct {
	scope     store.Scope
	profile   engine.Profile
	plans     []store.Plan // the open one
	decisions []decisionRow
	window    engine.Window // the last days of the log, as far as the talks rest on them
	firstKg   []float64     // the first readings since the plan began
	stored    []store.DueTalk
}

// queue reads all but what hangs on the plan's start.
func (s *dueState) queue(b *pgx.Batch) {
	tenant, trainee := s.scope.Tenant, s.scope.Trainee
	b.Queue(selectOpenPlan, tenant, trainee).Query(eachRow(scanPlan(&s.plans)))
	b.Queue(selectDecisionsOfOpenPlan, tenant, trainee).Query(eachRow(scanDecision(&s.decisions)))
	b.Queue(selectDueOf, tenant, trainee).Query(eachRow(scanDue(&s.stored)))
	b.Queue(selectDueDays, tenant, trainee, int32(phase.DueDays)).Query(eachRow(scanDueDay(&s.window)))
}

// queueFirst reads the first readings since the plan began, unless the window
// reaches back that far.
func (s *dueState) queueFirst(b *pgx.Batch) {
	if len(s.plans) == 0 {
		return
	}
	from := s.plans[0].Start
	if s.window.First > from {
		b.Queue(selectFirstReadings, s.scope.Tenant, s.scope.Trainee, int32(from), phase.DueFirstReadings).
			Query(eachRow(func(r pgx.Rows) error {
				var kg float64
				err := r.Scan(&kg)
				s.firstKg = append(s.firstKg, kg)
				return err
			}))
		return
	}
	for d := from; d < s.window.End() && len(s.firstKg) < phase.DueFirstReadings; d++ {
		if r := s.window.At(d).WeightKg; r.OK {
			s.firstKg = append(s.firstKg, r.V)
		}
	}
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

// derive asks the engine. Nothing is due without an open plan.
func (s *dueState) derive() []store.DueTalk {
	if len(s.plans) == 0 {
		return nil
	}
	plan := s.plans[0].Plan
	plan.Decisions = bare(s.decisions)
	var out []store.DueTalk
	for i, d := range phase.DueTalks(s.window, s.firstKg, s.profile, plan) {
		out = append(out, store.DueTalk{Place: store.DuePlace{From: d.From, Trainee: s.scope.Trainee, Seq: i + 1}, Plan: plan.ID, Due: d})
	}
	return out
}

// queueReplace makes the stored talks what they come to now. Where that is the
// same, nothing is written.
func (s *dueState) queueReplace(b *pgx.Batch) {
	want := s.derive()
	if slices.Equal(want, s.stored) {
		return
	}
	b.Queue(deleteDueOf, s.scope.Tenant, s.scope.Trainee)
	if len(want) == 0 {
		return
	}
	var seqs, from []int32
	var reasons []int16
	var until []pgtype.Int4
	var plans, lines []string
	for _, d := range want {
		seqs, from, reasons = append(seqs, int32(d.Place.Seq)), append(from, int32(d.From)), append(reasons, int16(d.Reason))
		until = append(until, pgtype.Int4{Int32: int32(d.Until.Day), Valid: d.Until.OK})
		plans, lines = append(plans, d.Plan), append(lines, d.Line)
	}
	b.Queue(insertDue, s.scope.Tenant, s.scope.Trainee, seqs, reasons, from, until, plans, lines)
}
