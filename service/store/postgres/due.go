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
	"example.com/steelyard/service/store/internal/rows"
)

const (
	// The last parameter but one has a bit for each reason asked for.
	selectDueTalks = `SELECT from_day, trainee, seq, reason, until_day, plan, line FROM due_talk
WHERE tenant = $1 AND (from_day, trainee, seq) > ($2, $3, $4) AND from_day <= $5 AND (until_day IS NULL OR until_day >= $5)
AND (1 << reason) & $6 <> 0
ORDER BY from_day, trainee, seq LIMIT $7`

	selectDueOf = `SELECT from_day, trainee, seq, reason, until_day, plan, line FROM due_talk
WHERE tenant = $1 AND trainee = $2 ORDER BY seq`

	// The last day with an entry and all that are needed before it are in two blocks.
	selectDueDays = `SELECT block, packed FROM day_rollup WHERE tenant = $1 AND trainee = $2
AND block >= (SELECT max(l.block) FROM day_rollup l WHERE l.tenant = $1 AND l.trainee = $2) - 1 ORDER BY block`

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
	first     engine.Window // from when the plan began on, as far as the first readings are in it
	stored    []store.DueTalk
}

// queue reads all but what hangs on the plan's start.
func (s *dueState) queue(b *pgx.Batch) {
	tenant, trainee := s.scope.Tenant, s.scope.Trainee
	b.Queue(selectOpenPlan, tenant, trainee).Query(eachRow(scanPlan(&s.plans)))
	b.Queue(selectDecisionsOfOpenPlan, tenant, trainee).Query(eachRow(scanDecision(&s.decisions)))
	b.Queue(selectDueOf, tenant, trainee).Query(eachRow(scanDue(&s.stored)))
	b.Queue(selectDueDays, tenant, trainee).Query(eachRow(scanRollup(&s.window, true)))
}

// queueFirst reads the first readings since the plan began, unless the window
// reaches back that far.
func (s *dueState) queueFirst(b *pgx.Batch) {
	if n := len(s.window.Days); n > 0 { // it ends with the last day that has an entry
		days := append(make([]engine.WindowDay, phase.DueDays), s.window.Days...)[n:]
		s.window = engine.Window{First: s.window.End() - phase.DueDays, Days: days}
	}
	s.first = s.window
	if len(s.plans) == 0 || s.window.First <= s.plans[0].Start {
		return
	}
	s.first = engine.Window{First: s.plans[0].Start}
	b.Queue(selectRollups, s.scope.Tenant, s.scope.Trainee, rows.Block(s.first.First)).
		Query(eachRow(scanRollup(&s.first, false)))
}

// derive asks the engine. Nothing is due without an open plan.
func (s *dueState) derive() []store.DueTalk {
	if len(s.plans) == 0 {
		return nil
	}
	plan := s.plans[0].Plan
	plan.Decisions = bare(s.decisions)
	var firstKg []float64
	for d := plan.Start; d < s.first.End() && len(firstKg) < phase.DueFirstReadings; d++ {
		if r := s.first.At(d).WeightKg; r.OK {
			firstKg = append(firstKg, r.V)
		}
	}
	var out []store.DueTalk
	for i, d := range phase.DueTalks(s.window, firstKg, s.profile, plan) {
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
