package sqlite

import (
	"database/sql"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/service/store"
)

// oldFile is a database as the first version made it, with what the statements
// put into it.
func oldFile(t *testing.T, statements ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "log.db")
	db, err := sql.Open("sqlite", dsn(path, writerSettings))
	if err != nil {
		t.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	p, err := migrator(db)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.UpTo(t.Context(), 1); err != nil {
		t.Fatal(err)
	}
	for _, q := range statements {
		if _, err := db.Exec(q); err != nil {
			t.Fatalf("%s: %v", q, err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// oldTrainee is a trainee as the first version stored one.
func oldTrainee(tenant, trainee string) string {
	return fmt.Sprintf(`INSERT INTO trainee VALUES ('%s', '%s', '%032d', 4, 'Ada', 'UTC', '{}', 5, 6)`, tenant, trainee, 7)
}

// oldPlan is a plan as the first version stored one.
func oldPlan(tenant, trainee, id string, state int) string {
	return fmt.Sprintf(`INSERT INTO plan VALUES ('%s', '%s', '%s', %d, '{"start":100,"food_lever":true,"band_low_pct_per_week":0.5,
"band_high_pct_per_week":1,"pace_pct_per_week":0.8,"base_activity_kcal":125,"activity_cap_kcal":400}', 5, 6)`, tenant, trainee, id, state)
}

// A plan from before there was a choice allows refeeds, and a decision from then
// prescribed none.
func TestOldPlansAllowRefeeds(t *testing.T) {
	path := oldFile(t, oldTrainee("north-gym", "ada"), oldPlan("north-gym", "ada", "cut", 0),
		`INSERT INTO decision VALUES ('north-gym', 'ada', 'cut', 1, 'd1', 110, 2, 2100.5, 0, 'a coach', '', NULL, 7)`)
	s := open(t, path)
	defer s.Close()
	snap, err := s.Snapshot(t.Context(), ada, 0)
	if err != nil {
		t.Fatal(err)
	}
	p := snap.Plan
	if !p.AllowRefeeds || p.WeekendExtraKcal != 0 || p.Start != 100 || p.PacePctPerWeek != 0.8 {
		t.Errorf("plan %+v", p)
	}
	if len(p.Decisions) != 1 || p.Decisions[0].Target != (engine.Target{IntakeKcal: 2100.5}) {
		t.Errorf("decisions %+v", p.Decisions)
	}
	// Once it is written again, a choice stays one.
	p.AllowRefeeds = false
	_, err = s.Update(t.Context(), ada, store.Once{}, func(tx store.Tx) (store.Answer, error) {
		_, err := tx.PutPlan(p.Plan)
		return noAnswer, err
	})
	if err != nil {
		t.Fatal(err)
	}
	if snap, err = s.Snapshot(t.Context(), ada, 0); err != nil || snap.Plan.AllowRefeeds {
		t.Errorf("allowed again: %v", err)
	}
}

// A file from before the list has it after Open, for every trainee with an open
// plan, in several batches; no head moves, and nothing is left to do.
func TestOldFilesGetTheirDueTalks(t *testing.T) {
	const n = 2*staleBatch + 1
	statements := []string{"BEGIN"}
	for i := range n {
		id := fmt.Sprintf("t%05d", i)
		statements = append(statements, oldTrainee("north-gym", id), oldPlan("north-gym", id, "cut", 0))
	}
	statements = append(statements, oldTrainee("north-gym", "closed"), oldPlan("north-gym", "closed", "cut", 1),
		oldTrainee("south-gym", "bo"), oldPlan("south-gym", "bo", "lean", 0), oldPlan("south-gym", "bo", "first", 1), "COMMIT")
	path := oldFile(t, statements...)
	s := open(t, path)
	defer func() { s.Close() }()
	check := func() {
		t.Helper()
		got, err := s.DueTalks(t.Context(), "north-gym", store.DueQuery{AsOf: 110, Limit: 3 * n})
		if err != nil || len(got) != 2*n {
			t.Fatalf("%d talks, %v; want a review and a silence of %d trainees", len(got), err, n)
		}
		for i, d := range got {
			from, reason := engine.Day(104), phase.DueStoppedLogging
			if i >= n {
				from, reason = 110, phase.DueReview
			}
			if d.From != from || d.Reason != reason || d.Place.Trainee != fmt.Sprintf("t%05d", i%n) || d.Plan != "cut" {
				t.Fatalf("talk %d is %+v", i, d)
			}
		}
		got, err = s.DueTalks(t.Context(), "south-gym", store.DueQuery{AsOf: 110, Limit: 9})
		if err != nil || len(got) != 2 || got[0].Plan != "lean" {
			t.Errorf("south: %+v, %v", got, err)
		}
		var left int
		if err := s.reader.QueryRow(`SELECT count(*) FROM due_stale`).Scan(&left); err != nil || left != 0 {
			t.Errorf("%d left to do, %v", left, err)
		}
	}
	check()
	if h, err := s.Head(t.Context(), store.Scope{Tenant: "south-gym", Trainee: "bo"}); err != nil || h.Revision != 4 {
		t.Errorf("head %+v, %v", h, err)
	}
	// Opened again, nothing changes; and what was interrupted is gone on with.
	if _, err := s.writer.Exec(`DELETE FROM due_talk WHERE trainee = 'bo'; INSERT INTO due_stale VALUES ('south-gym', 'bo')`); err != nil {
		t.Fatal(err)
	}
	s.Close()
	s = open(t, path)
	check()
}

// A file from before keeps its keys, and nobody counts as idle for the time before.
func TestOldFilesKeepKeysAndTrainees(t *testing.T) {
	path := oldFile(t, oldTrainee("north-gym", "ada"),
		`INSERT INTO api_key VALUES ('k', 'south-gym', 'old', x'01', '["log.read"]', 5, NULL, 7)`)
	s := open(t, path)
	defer s.Close()
	k, err := s.Key(t.Context(), "k")
	if err != nil || k.Tenant != "south-gym" || k.Trainee != "" || k.Name != "old" || k.Revoked.Unix() != 7 || !k.Used.IsZero() {
		t.Errorf("key %+v, %v", k, err)
	}
	if err := s.SetIdleDays(t.Context(), "north-gym", 30, act()); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		days   time.Duration
		erased int
	}{{29, 0}, {31, 1}} {
		got, err := s.Sweep(t.Context(), store.SweepQuery{
			Now: time.Now().Add(c.days * 24 * time.Hour), Limit: 9, Erasure: func(store.Scope) store.AuditRecord { return act() },
		})
		if err != nil || len(got.Erased) != c.erased {
			t.Errorf("after %d days: %+v, %v", c.days, got, err)
		}
	}
}
