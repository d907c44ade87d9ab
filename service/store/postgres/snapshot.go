package postgres

import (
	"cmp"
	"context"
	"slices"

	"github.com/jackc/pgx/v5"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/internal/rows"
	"example.com/steelyard/service/window"
)

const (
	selectHead = `SELECT incarnation, revision FROM trainee WHERE tenant = $1 AND trainee = $2`

	selectHeads = `SELECT tenant, trainee, incarnation, revision FROM heads($1, $2, $3)`
)

// Head implements store.Snapshots.
func (s *Store) Head(ctx context.Context, sc store.Scope) (store.Head, error) {
	v, err := s.open(ctx, sc)
	if err != nil {
		return store.Head{}, fail(ctx, "read head", err)
	}
	defer v.end()
	var none error
	b := &pgx.Batch{}
	named(ctx, b, sc.Tenant)
	b.Queue(selectHead, sc.Tenant, sc.Trainee).QueryRow(orNone(&none, func(r pgx.Row) error { return v.scanHead(r) }))
	if err := cmp.Or(v.send(b), none); err != nil {
		return store.Head{}, v.fail("read head", err)
	}
	return v.head, nil
}

// scanHead reads an incarnation and a revision. What the world sees of the first
// has the server's timeline in it, which changes when a standby takes over and when
// a backup is restored: a revision may come a second time then, with other content.
func (v *view) scanHead(r pgx.Row, more ...any) error {
	if err := r.Scan(append([]any{&v.head.Incarnation, &v.head.Revision}, more...)...); err != nil {
		return err
	}
	v.head.Incarnation = v.timeline + v.head.Incarnation
	return nil
}

// Heads implements window.Heads.
func (s *Store) Heads(ctx context.Context, scopes []store.Scope) ([]window.HeadResult, error) {
	if len(scopes) == 0 {
		return nil, nil
	}
	v, err := s.open(ctx, store.Scope{})
	if err != nil {
		return nil, fail(ctx, "read heads", err)
	}
	defer v.end()
	places := make(map[store.Scope]int, len(scopes))
	for i, sc := range scopes {
		places[sc] = i
	}
	sorted := slices.Clone(scopes)
	slices.SortFunc(sorted, func(a, b store.Scope) int { return cmp.Compare(a.Tenant, b.Tenant) })
	var tenants, trainees []string
	var sizes []int32
	for _, sc := range sorted {
		if len(tenants) == 0 || tenants[len(tenants)-1] != sc.Tenant {
			tenants, sizes = append(tenants, sc.Tenant), append(sizes, 0)
		}
		sizes[len(sizes)-1]++
		trainees = append(trainees, sc.Trainee)
	}
	out := make([]window.HeadResult, len(scopes))
	var sc store.Scope
	err = v.each(func(r pgx.Rows) error {
		var h store.Head
		if err := r.Scan(&sc.Tenant, &sc.Trainee, &h.Incarnation, &h.Revision); err != nil {
			return err
		}
		h.Incarnation = v.timeline + h.Incarnation
		out[places[sc]] = window.HeadResult{Head: h, Found: true}
		return nil
	}, selectHeads, tenants, sizes, trainees)
	if err != nil {
		return nil, v.fail("read heads", err)
	}
	return out, nil
}

// Snapshot implements store.Snapshots: one read transaction in one go.
func (s *Store) Snapshot(ctx context.Context, sc store.Scope, first engine.Day) (store.Snapshot, error) {
	v, err := s.open(ctx, sc)
	if err != nil {
		return store.Snapshot{}, fail(ctx, "begin read", err)
	}
	defer v.end()
	snap := store.Snapshot{Window: engine.Window{First: first}}
	var plans []store.Plan
	var decisions []decisionRow
	var none error
	err = v.start(beginRead, func(b *pgx.Batch) {
		b.Queue(selectTrainee, sc.Tenant, sc.Trainee).QueryRow(orNone(&none, v.scanTrainee))
		b.Queue(selectOpenPlan, sc.Tenant, sc.Trainee).Query(eachRow(scanPlan(&plans)))
		b.Queue(selectDecisionsOfOpenPlan, sc.Tenant, sc.Trainee).Query(eachRow(scanDecision(&decisions)))
		b.Queue(selectRollups, sc.Tenant, sc.Trainee, rows.Block(first)).Query(eachRow(scanRollup(&snap.Window, false)))
		b.Queue(commit)
	})
	if err := cmp.Or(err, none); err != nil {
		return store.Snapshot{}, v.fail("read snapshot", err)
	}
	snap.Head = v.head
	if snap.Trainee, err = v.Trainee(); err != nil {
		return store.Snapshot{}, err
	}
	if len(plans) == 1 {
		snap.Plan = &plans[0]
		snap.Plan.Decisions = bare(decisions)
	}
	return snap, nil
}

// View implements store.Reads.
func (s *Store) View(ctx context.Context, sc store.Scope, f func(store.View) error) error {
	v, err := s.open(ctx, sc)
	if err != nil {
		return fail(ctx, "begin read", err)
	}
	defer v.end() // it wrote nothing
	var none error
	err = v.start(beginRead, func(b *pgx.Batch) {
		b.Queue(mayPause)
		b.Queue(selectTrainee, sc.Tenant, sc.Trainee).QueryRow(orNone(&none, v.scanTrainee))
	})
	if err := cmp.Or(err, none); err != nil {
		return v.fail("read trainee", err)
	}
	return f(v)
}
