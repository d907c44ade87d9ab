//go:build unix

package postgres

import (
	"fmt"
	"testing"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/store/postgres/pgtest"
)

// What a migration leaves to do is done by Open, of all tenants and in several
// batches; no head moves, and nothing is left to do.
func TestStaleDueTalksAreRenewed(t *testing.T) {
	s := newStore(t)
	url := server.SocketURL(pgtest.Runtime, database(s))
	db := outside(t, s, pgtest.Super)
	s.Close()
	const n = staleBatch + 3
	for _, q := range []string{
		`INSERT INTO trainee SELECT 'gym-' || i % 3, 't' || to_char(i, 'FM00000'), 'x', 4, 'Ada', 'UTC', '{}', 5, 6, 6 FROM generate_series(1, $1) i`,
		`INSERT INTO plan SELECT 'gym-' || i % 3, 't' || to_char(i, 'FM00000'), 'cut', 0, '{"start":100,"food_lever":true,"band_low_pct_per_week":0.5,
"band_high_pct_per_week":1,"pace_pct_per_week":0.8,"base_activity_kcal":125,"activity_cap_kcal":400}', 5, 6 FROM generate_series(1, $1) i`,
		`INSERT INTO due_stale SELECT tenant, trainee FROM plan WHERE $1::bigint > 0`,
	} {
		run(t, db, q, n)
	}
	s = open(t, url)
	defer s.Close()
	talks := 0
	for g := range 3 {
		got, err := s.DueTalks(t.Context(), fmt.Sprint("gym-", g), store.DueQuery{AsOf: 110, Limit: 3 * n})
		if err != nil {
			t.Fatal(err)
		}
		talks += len(got)
		for _, d := range got {
			from := engine.Day(104)
			if d.Reason == phase.DueReview {
				from = 110
			}
			if d.From != from || d.Plan != "cut" {
				t.Fatalf("talk %+v", d)
			}
		}
	}
	if talks != 2*n {
		t.Errorf("%d talks; want a review and a silence of %d trainees", talks, n)
	}
	if left := count(t, db, `SELECT count(*) FROM due_stale`); left != 0 {
		t.Errorf("%d left to do", left)
	}
	if moved := count(t, db, `SELECT count(*) FROM trainee WHERE revision <> 4`); moved != 0 {
		t.Errorf("%d heads moved", moved)
	}
}
