package sqlite

import (
	"context"
	"database/sql"
	"math"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
)

// The last parameter but one has a bit for each reason asked for.
const selectDueTalks = `SELECT from_day, trainee, seq, reason, until_day, plan, line FROM due_talk
WHERE tenant = ? AND (from_day, trainee, seq) > (?, ?, ?) AND from_day <= ? AND (until_day IS NULL OR until_day >= ?) AND (1 << reason) & ? <> 0
ORDER BY from_day, trainee, seq LIMIT ?`

// DueTalks implements store.Roster. Whoever was written since is derived first.
func (s *Store) DueTalks(ctx context.Context, tenant string, q store.DueQuery) ([]store.DueTalk, error) {
	if err := s.renewTenant(ctx, tenant); err != nil {
		return nil, err
	}
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
	found, err := s.reads[selectDueTalks].QueryContext(during(ctx), tenant, after.From, after.Trainee, after.Seq, q.AsOf, q.AsOf, reasons, q.Limit)
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
