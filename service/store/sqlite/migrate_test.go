package sqlite

import (
	"database/sql"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"example.com/steelyard/engine"
	"example.com/steelyard/engine/phase"
	"example.com/steelyard/engine/rollup"
	"example.com/steelyard/service/store"
)

// oldFile is a database as the first version made it, with what the statements
// put into it.
func oldFile(t *testing.T, statements ...string) string {
	t.Helper()
	return oldFileOf(t, 1, statements...)
}

// oldFileOf is a database as the migrations up to one made it.
func oldFileOf(t *testing.T, version int64, statements ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "log.db")
	db := connection(t, path)
	p, err := migrator(db)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.UpTo(t.Context(), version); err != nil {
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
// plan, in several batches, and nothing is left to do.
func TestOldFilesGetTheirDueTalks(t *testing.T) {
	const n = 2*scopeBatch + 1
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
		if s.look(t, `SELECT count(*) FROM trainee WHERE due_revision <> revision AND tenant <> 'north-gym' OR due_revision < 5`, &left); left != 0 {
			t.Errorf("%d left to do", left)
		}
	}
	check()
	if h, err := s.Head(t.Context(), store.Scope{Tenant: "south-gym", Trainee: "bo"}); err != nil || h.Revision != 5 {
		t.Errorf("head %+v, %v", h, err)
	}
	// Opened again, nothing changes; and what was interrupted is gone on with.
	s.exec(t, `DELETE FROM due_talk WHERE trainee = 'bo'; UPDATE trainee SET due_revision = 0 WHERE trainee = 'bo'`)
	s.Close()
	s = open(t, path)
	check()
}

// Entries from before they were packed read as they were written, and are packed
// when they are written again. The days are derived anew.
func TestOldFilesAreRead(t *testing.T) {
	kg := engine.Mass{Value: 154, Unit: engine.Pound}.Kg()
	path := oldFile(t, oldTrainee("north-gym", "ada"),
		`INSERT INTO entry VALUES ('north-gym', 'ada', 7, 1, '1', '', '{"weight":{"v":154,"u":"lb"},"minute":435,"scale":"bathroom"}'),
			('north-gym', 'ada', 7, 7, '1', 'well', '{"sleep":3,"was_slog":1}'), ('north-gym', 'ada', 8, 3, '1', '', '{}')`)
	s := open(t, path)
	defer s.Close()
	want := []engine.Entry{
		{Day: 7, Key: "1", Fact: engine.WeighIn{Weight: engine.Mass{Value: 154, Unit: engine.Pound}, MinuteOfDay: engine.Some(435)}},
		{Day: 7, Key: "1", Note: "well", Fact: engine.CheckIn{Sleep: 3, WasSlog: engine.Yes}},
		{Day: 8, Key: "1", Fact: engine.Activity{}},
	}
	check := func(revision int64) {
		t.Helper()
		if err := s.View(t.Context(), ada, func(v store.View) error {
			got, err := v.Entries(store.EntryQuery{To: 9, Limit: 9})
			if !slices.Equal(got, want) {
				t.Errorf("entries %+v", got)
			}
			return err
		}); err != nil {
			t.Error(err)
		}
		snap, err := s.Snapshot(t.Context(), ada, 7)
		if err != nil || snap.Head.Revision != revision || !slices.Equal(snap.Window.Days, []engine.WindowDay{
			{WeightKg: kg, Readings: 1, CheckIn: engine.CheckIn{Sleep: 3, WasSlog: engine.Yes}}, {},
		}) {
			t.Errorf("snapshot %+v, %v", snap, err)
		}
	}
	check(5)
	mustPut(t, s, ada, store.Once{}, want)
	check(6)
	var packed int
	if s.look(t, `SELECT count(*) FROM entry WHERE substr(fact, 1, 1) = x'01'`, &packed); packed != 3 {
		t.Errorf("%d are packed", packed)
	}
}

// Days that were made by older rules are made again, and the heads move: what a
// cache holds under the old ones is no longer so. Done once, it is not done again.
func TestDaysOfOlderRulesAreMadeAgain(t *testing.T) {
	s, path := newStore(t)
	for i := range 2*scopeBatch + 1 {
		sc := store.Scope{Tenant: "north-gym", Trainee: fmt.Sprintf("t%03d", i)}
		create(t, s, sc)
	}
	mustPut(t, s, ada, store.Once{}, []engine.Entry{weighIn(1, 70), weighIn(3, 71)})
	before, err := s.Snapshot(t.Context(), ada, 0)
	if err != nil {
		t.Fatal(err)
	}
	reopen := func(statements string) {
		t.Helper()
		s.exec(t, statements)
		s.Close()
		s = open(t, path)
	}
	defer func() { s.Close() }()
	const spoil = "UPDATE day_rollup SET packed = x'090101';"
	reopen(spoil + "PRAGMA user_version = 0")
	snap, err := s.Snapshot(t.Context(), ada, 0)
	if err != nil || !slices.Equal(snap.Window.Days, before.Window.Days) || snap.Head.Revision != before.Head.Revision+1 || snap.Head.Incarnation != before.Head.Incarnation {
		t.Errorf("snapshot %+v, %v", snap, err)
	}
	if h, err := s.Head(t.Context(), store.Scope{Tenant: "north-gym", Trainee: "t200"}); err != nil || h.Revision != 2 {
		t.Errorf("the last one's head %+v, %v", h, err)
	}
	reopen(spoil)
	if snap, err = s.Snapshot(t.Context(), ada, 0); err != nil || len(snap.Window.Days) != 10 || snap.Head.Revision != before.Head.Revision+1 {
		t.Errorf("again: %+v, %v", snap, err)
	}
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

// What was keyed by tenant and trainee is carried over byte for byte, each row to its
// own trainee, whatever tenant has another one of the same name.
func TestOldFilesGetTheirIDs(t *testing.T) {
	statements := []string{"BEGIN", fmt.Sprintf("PRAGMA user_version = %d", rollup.Rules)} // nothing is derived again
	for i, sc := range []string{"'north-gym', 'ada'", "'south-gym', 'ada'", "'north-gym', 'bo'", "'east-gym', 'zoe'", "'east-gym', 'nobody'"} {
		statements = append(statements, fmt.Sprintf(`INSERT INTO trainee VALUES (%s, '%032d', %d, 'Name', 'UTC', '{}', 5, 6, 7, 0)`, sc, i, i+3))
		if i == 4 {
			continue // of whom there is nothing
		}
		for n := range 3 {
			statements = append(statements,
				fmt.Sprintf(`INSERT INTO entry VALUES (%s, %d, 1, 'k%d', 'note %d', x'01%02x00ff')`, sc, n-1, n, i, 16*i+n),
				fmt.Sprintf(`INSERT INTO day_rollup VALUES (%s, %d, x'0002%02x00')`, sc, n-1, 16*i+n))
		}
	}
	for i, sc := range []string{"'north-gym', 'bo'", "'north-gym', 'ada'", "'south-gym', 'ada'", "'north-gym', 'bo'"} { // in the order of time
		statements = append(statements, fmt.Sprintf(`INSERT INTO once VALUES (%s, '/m', 'r%d', 'hash', x'00ff%02x', %d)`, sc, i, i, 100+i))
	}
	path := oldFileOf(t, 5, append(statements, "COMMIT")...)
	dump := func(db *sql.DB, join string) (out []string) {
		t.Helper()
		for _, q := range []string{
			`SELECT format('%s %s %d %d %s %s %s', tenant, trainee, day, kind, key, note, hex(fact)) FROM entry %s ORDER BY tenant, trainee, day, kind, key`,
			`SELECT format('%s %s %d %s', tenant, trainee, block, hex(packed)) FROM day_rollup %s ORDER BY tenant, trainee, block`,
			`SELECT format('%s %s %s %s %s %s %d', tenant, trainee, method, request_id, body_hash, hex(answer), recorded) FROM once %s ORDER BY once.rowid`,
		} {
			rows, err := db.Query(strings.Replace(q, " %s ORDER", " "+join+" ORDER", 1))
			if err != nil {
				t.Fatal(err)
			}
			for rows.Next() {
				var row string
				if err := rows.Scan(&row); err != nil {
					t.Fatal(err)
				}
				out = append(out, row)
			}
			if err := rows.Err(); err != nil {
				t.Fatal(err)
			}
		}
		return out
	}
	db := connection(t, path)
	before := dump(db, "")
	if err := db.Close(); err != nil || len(before) != 4*3*2+4 {
		t.Fatalf("%d rows, %v", len(before), err)
	}
	s := open(t, path)
	defer s.Close()
	db = connection(t, path)
	defer db.Close()
	if after := dump(db, "JOIN trainee ON trainee_id = id"); !slices.Equal(after, before) {
		t.Errorf("after\n%s\nbefore\n%s", strings.Join(after, "\n"), strings.Join(before, "\n"))
	}
	var trainees, ids, last int
	s.look(t, "SELECT count(*), count(DISTINCT id), max(id) FROM trainee", &trainees, &ids, &last)
	if trainees != 5 || ids != 5 {
		t.Errorf("%d ids of %d trainees", ids, trainees)
	}
	create(t, s, store.Scope{Tenant: "north-gym", Trainee: "new"})
	var next int
	if s.look(t, "SELECT id FROM trainee WHERE trainee = 'new'", &next); next != last+1 {
		t.Errorf("the next id is %d after %d", next, last)
	}
	// And they are used: a replay is one, an entry is replaced, an erasure takes its own only.
	answer, err := s.Update(t.Context(), store.Scope{Tenant: "north-gym", Trainee: "bo"}, store.Once{Method: "/m", RequestID: "r3", BodyHash: "hash"}, noWrite)
	if err != nil || string(answer) != "\x00\xff\x03" {
		t.Errorf("replay %x, %v", answer, err)
	}
	erased, err := s.Erase(t.Context(), ada, act())
	if err != nil || erased.Entries != 3 {
		t.Errorf("erased %+v, %v", erased, err)
	}
	left := slices.DeleteFunc(before, func(row string) bool { return strings.HasPrefix(row, "north-gym ada ") })
	if after := dump(db, "JOIN trainee ON trainee_id = id"); !slices.Equal(after, left) {
		t.Errorf("after the erasure\n%s", strings.Join(after, "\n"))
	}
}
