package sqlite

import (
	"database/sql"
	"strings"
	"testing"

	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/store"
)

// many puts trainees of two tenants into a file, each with an open plan and three
// talks, one of them past.
func many(t testing.TB, s *Store, trainees int) {
	t.Helper()
	const each = `WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i + 1 < ?),
t(tenant, trainee, i) AS (SELECT iif(i % 2, 'south-gym', 'north-gym'), printf('t%06d', i / 2), i / 2 FROM n) `
	for _, q := range []string{
		each + `INSERT INTO trainee (tenant, trainee, id, incarnation, revision, display_name, time_zone, profile, created, updated, due_revision) SELECT tenant, trainee, 1000 + 2 * i + (tenant = 'south-gym'), 'x', 1, '', 'UTC', '{}', 0, 0, 1 FROM t`,
		each + `INSERT INTO plan SELECT tenant, trainee, 'cut', 0, '{}', 0, 0 FROM t`,
		each + `INSERT INTO due_talk SELECT tenant, trainee, 1, 4, 100 + i % 90, 106 + i % 90, 'cut', 'past' FROM t`,
		each + `INSERT INTO due_talk SELECT tenant, trainee, 2, 1, 200 + i % 90, NULL, 'cut', 'review' FROM t`,
		each + `INSERT INTO due_talk SELECT tenant, trainee, 3, 2, 300 + i % 90, NULL, 'cut', 'silence' FROM t`,
	} {
		s.exec(t, q, trainees)
	}
}

// The list is read in the order of its index, from where it goes on, and no log
// is read, however many trainees there are.
func TestDueTalksReadTheirIndexOnly(t *testing.T) {
	s, _ := newStore(t)
	many(t, s, 20_000)
	s.exec(t, "ANALYZE") // the plan must not turn with what is known of the data
	for _, analyzed := range []bool{true, false} {
		if !analyzed {
			s.exec(t, "DELETE FROM sqlite_stat1")
		}
		var steps []string // statistics are read when a connection opens
		s.rows(t, func(r *sql.Rows) error {
			var id, parent, unused int
			var detail string
			err := r.Scan(&id, &parent, &unused, &detail)
			steps = append(steps, detail)
			return err
		}, "EXPLAIN QUERY PLAN "+selectDueTalks, "north-gym", 250, "t000100", 2, 260, 260, -1, 100)
		if len(steps) != 1 || !strings.HasPrefix(steps[0], "SEARCH due_talk USING INDEX due_talk_list (tenant=? AND (from_day,trainee,seq)>(?,?,?)") {
			t.Errorf("analyzed %v: %q", analyzed, steps)
		}
	}

	// Half of them are here, their reviews on 90 days from 200 on: on day 219 some 20 of 90.
	var got []store.DueTalk
	q := store.DueQuery{AsOf: 219, Limit: 1000}
	for range 10 {
		page, err := s.DueTalks(t.Context(), "north-gym", q)
		if err != nil {
			t.Fatal(err)
		}
		if len(page) == 0 {
			break
		}
		got = append(got, page...)
		q.After = &page[len(page)-1].Place
	}
	want := 0
	for i := range 10_000 {
		if i%90 <= 19 {
			want++
		}
	}
	if len(got) != want {
		t.Errorf("%d talks, want %d", len(got), want)
	}
	for i, d := range got {
		if d.Reason != phase.DueReview || d.Line != "review" || i > 0 && d.Place.From < got[i-1].Place.From {
			t.Fatalf("talk %d: %+v", i, d)
		}
	}
}
