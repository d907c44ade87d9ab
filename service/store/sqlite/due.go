package sqlite

import (
	"context"
	"math"

	driver "zombiezen.com/go/sqlite"

	"example.com/steelyard/engine/phase"
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
	err := s.get(ctx, func(c conn) error {
		return c.each(func(st *driver.Stmt) error {
			t := store.DueTalk{Plan: st.ColumnText(5)}
			var err error
			t.From, t.Until, t.Line = columnDay(st, 0), columnOptDay(st, 4), st.ColumnText(6)
			t.Place = store.DuePlace{From: t.From, Trainee: st.ColumnText(1), Seq: st.ColumnInt(2)}
			t.Reason, err = columnSmall[phase.DueReason](st, 3)
			out = append(out, t)
			return err
		}, selectDueTalks, tenant, int64(after.From), after.Trainee, after.Seq, int64(q.AsOf), int64(q.AsOf), reasons, q.Limit)
	})
	return out, fail(ctx, "read due talks", err)
}
