package service_test

import (
	"crypto/sha256"
	"database/sql"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/protobuf/proto"
	_ "modernc.org/sqlite" // the driver "sqlite"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/access"
)

// world is a service that holds a trainee of one tenant, full of words and numbers
// that are nowhere else, and one of another tenant.
type world struct {
	*running
	mine, theirs caller
	db           *sql.DB // reads the file of the service
}

// caller is a running service with the key of one tenant, and a trainee of that
// tenant with a log, the open plan "cut" and its decision "d1".
type caller struct {
	*running
	tenant, trainee string
}

// Ids of one length, so that answers about them can be compared byte by byte.
const (
	traineeOfMine, traineeOfTheirs, traineeOfNobody = "heron-1", "finch-1", "nobod-1"
	otherOfMine                                     = "heron-2"
)

// secrets are what the mine tenant's data hold and nothing else does. The name of
// its trainee is one too. No number can be the seconds of an instant in a log.
var secrets = struct {
	words   []string
	numbers []float64
}{
	[]string{traineeOfMine, "Quoll Wombat", "wallaby words", "kea coach", "numbat/album", "bilby-lift"},
	[]float64{83.9517, 2345.678, 171.375, 91.2345, 64.3217},
}

func newWorld(t testing.TB, edit func(*service.Config)) *world {
	t.Helper()
	var dir string
	r := startWith(t, func(c *service.Config) {
		c.KeyRate = -1 // or what is tried by the thousand would be refused for that alone
		edit(c)
		dir = c.DataDir
	})
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "steelyard.db")+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = db.Close() })
	w := &world{running: r, db: db}
	w.mine = caller{r, "tenant-a", traineeOfMine}
	w.theirs = caller{r.withToken(r.key("tenant-b", access.ScopeNames()...)), "tenant-b", traineeOfTheirs}
	w.mine.settle(t, secrets.words[1], secrets.words[2], secrets.words[3], secrets.numbers)
	w.theirs.settle(t, "Their Name", "their note", "their coach", []float64{70, 2100, 165, 50, 30})
	caller{r, "tenant-a", otherOfMine}.settle(t, "Another Name", "another note", "another coach", []float64{75, 2200, 175, 55, 25})
	return w
}

// settle makes the caller's trainee with its data.
func (c caller) settle(t testing.TB, name, note, coach string, n []float64) {
	t.Helper()
	photo, lift := "album", "squat"
	if n[0] == secrets.numbers[0] {
		photo, lift = secrets.words[4], secrets.words[5]
	}
	entries := []*pb.Entry{
		{Date: day(1), Note: note, Fact: &pb.Entry_LiftSet{LiftSet: &pb.LiftSet{Lift: lift, Load: &pb.Mass{Value: n[3], Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}, Reps: 5}}},
		{Date: day(1), Note: note, Fact: &pb.Entry_BodyFat{BodyFat: &pb.BodyFat{BodyFatPct: n[4], Method: pb.BodyFatMethod_BODY_FAT_METHOD_CALIPERS}}},
		{Date: day(1), Note: note, Fact: &pb.Entry_PhotoSet{PhotoSet: &pb.PhotoSet{Reference: photo}}},
	}
	for i := range 12 {
		entries = append(entries, weighIn(i, n[0]), intake(i, n[1]))
	}
	parent := "trainees/" + c.trainee
	for _, s := range []step{
		one(pb.TraineeService_CreateTrainee_FullMethodName, &pb.CreateTraineeRequest{TraineeId: c.trainee, Trainee: &pb.Trainee{
			DisplayName: name, Sex: pb.Sex_SEX_MALE, BirthDate: &date.Date{Year: 1990, Month: 5, Day: 4}, HeightCm: &n[2],
		}}, ""),
		one(pb.PhaseService_CreatePlan_FullMethodName, &pb.CreatePlanRequest{Parent: parent, PlanId: "cut", Plan: &pb.Plan{StartDate: day(0)}}, ""),
		one(pb.LogbookService_BatchCreateEntries_FullMethodName, &pb.BatchCreateEntriesRequest{Parent: parent, Entries: entries}, ""),
		one(pb.PhaseService_CreateDecision_FullMethodName, &pb.CreateDecisionRequest{Parent: parent + "/plans/cut", Decision: &pb.Decision{
			FromDate: day(12), Action: pb.Action_ACTION_START_DEFICIT, Target: &pb.Target{IntakeKcal: n[1]}, DecidedBy: coach, Note: note, AnswersRecommendation: true,
		}}, ""),
	} {
		c.must(t, s)
	}
}

// erase removes the caller's trainee.
func (c caller) erase(t testing.TB) {
	t.Helper()
	c.must(t, one(pb.TraineeService_EraseTrainee_FullMethodName, &pb.EraseTraineeRequest{Name: c.name()}, ""))
}

// must makes a call that succeeds.
func (c caller) must(t testing.TB, s step) []proto.Message {
	t.Helper()
	out := c.callGRPC(t, methods()[s.method], s)
	if out.err != nil {
		t.Fatalf("%s: %v", s.method, out.err)
	}
	return out.answers
}

// rows is a hash over all rows of all tables of the file; of those with a tenant
// only its own when one is named. The tables come from the catalogue; who is due a talk
// is left out, since it is derived after the write that it follows from, and so is when
// a key was used, which is noted late.
func (w *world) rows(t testing.TB, tenant string) string {
	t.Helper()
	out := sha256.New()
	for _, table := range w.column(t, `SELECT name FROM sqlite_schema WHERE type = 'table' AND name <> 'due_talk' ORDER BY name`) {
		columns := w.column(t, `SELECT name FROM pragma_table_info(?1) WHERE name <> 'due_revision' AND NOT (name = 'used' AND ?1 = 'api_key') ORDER BY name`, table)
		where, args := "", []any{}
		if tenant != "" {
			switch {
			case slices.Contains(columns, "tenant"):
				where, args = " WHERE tenant = ?", append(args, tenant)
			case slices.Contains(columns, "trainee_id"):
				where, args = " WHERE trainee_id IN (SELECT id FROM trainee WHERE tenant = ?)", append(args, tenant)
			case table == "last_trainee_id": // is of all tenants together
				continue
			}
		}
		for i, c := range columns {
			columns[i] = "quote(" + c + ")" // tells NULL, text and blob apart
		}
		for _, row := range w.column(t, fmt.Sprintf("SELECT %s AS r FROM %s%s ORDER BY r", strings.Join(columns, "||','||"), table, where), args...) {
			_, _ = fmt.Fprintf(out, "%s %s\n", table, row)
		}
	}
	return fmt.Sprintf("%x", out.Sum(nil))
}

// writes changes with each write: one about a trainee counts up its revision, and one
// about the tenant is in the audit trail. Who is due a talk is derived later and is no write.
func (w *world) writes(t testing.TB) string {
	t.Helper()
	return w.column(t, `SELECT count(*) || ' ' || ifnull(sum(revision), 0) || ' ' || (SELECT count(*) FROM audit) FROM trainee`)[0]
}

// unwritten checks that nothing was written to the file since, not even the same again.
func (w *world) unwritten(t testing.TB, what string, before string) string {
	t.Helper()
	now := w.writes(t)
	if now != before {
		t.Errorf("%s: refused, and something was written", what)
	}
	return now
}

func (w *world) column(t testing.TB, query string, args ...any) []string {
	t.Helper()
	rows, err := w.db.Query(query, args...)
	if err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	defer func() { _ = rows.Close() }()
	var out []string
	for rows.Next() {
		var v string
		if err := rows.Scan(&v); err != nil {
			t.Fatalf("%s: %v", query, err)
		}
		out = append(out, v)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}
