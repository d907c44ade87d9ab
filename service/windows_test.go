//go:build unix

package service_test

import (
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/window/redistest"
)

// metric reads one sum from /metrics, 0 while it is not there.
func (r *running) metric(t *testing.T, name, labels string) float64 {
	t.Helper()
	return r.sum(t, name+`\{[^}]*`+labels+`[^}]*\}`)
}

// plainMetric is metric of one without labels.
func (r *running) plainMetric(t *testing.T, name string) float64 {
	t.Helper()
	return r.sum(t, name)
}

func (r *running) sum(t *testing.T, of string) float64 {
	t.Helper()
	body := string(r.admin("GET", "/metrics").body)
	m := regexp.MustCompile(`(?m)^` + of + ` ([0-9.e+]+)$`).FindStringSubmatch(body)
	if m == nil {
		return 0
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// A window that was in use is loaded again when a write has outdated it, and no other
// is; whoever asks gets what was written, whichever way.
func TestWindowsAreLoadedAhead(t *testing.T) {
	t.Run("SQLite", func(t *testing.T) { testAhead(t, func(*service.Config) {}) })
	t.Run("PostgreSQL", func(t *testing.T) {
		db := startPostgres(t)
		testAhead(t, func(c *service.Config) { onPostgres(c, db) })
	})
}

func testAhead(t *testing.T, over func(*service.Config)) {
	r := startWith(t, over)
	r.trainee("t1")
	r.plan("t1", 0)
	write := func(requestID string, day int) {
		t.Helper()
		req := &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: weighIn(day, 90), RequestId: requestID}
		if _, err := r.logbook().CreateEntry(r.ctx(), req); err != nil {
			t.Fatal(err)
		}
	}
	readings := func() int32 { return r.recommend(t, "t1", 30).GetEvidence().GetReadingsUsed() }
	ahead := func() float64 { return r.plainMetric(t, "steelyard_window_ahead_total") }
	answers := func() float64 { return r.plainMetric(t, "steelyard_answer_ahead_total") }

	write("", 1) // after the plan, which has asked
	before := ahead()
	for n := range 3 {
		if got := readings(); got != int32(n+1) {
			t.Fatalf("%d readings after %d writes", got, n+1)
		}
		readings() // so that it is in the process by now
		id := uuid.NewString()
		write(id, n+2)
		write(id, n+2) // a replay
		for deadline := time.Now().Add(10 * time.Second); answers() != float64(n+1); time.Sleep(time.Millisecond) {
			if time.Now().After(deadline) {
				t.Fatalf("%v answers were computed ahead of %d asked for", answers(), n+1)
			}
		}
		if got := ahead() - before; got != float64(n+1) {
			t.Fatalf("%v windows were loaded ahead of %d asked for", got, n+1)
		}
	}
	for n := range 20 { // and nobody asks in between
		write("", 5+n)
	}
	if got := ahead() - before; got != 3 {
		t.Errorf("%v windows were loaded ahead of 3 asked for", got)
	}
	if got := readings(); got != 24 {
		t.Errorf("%d readings after 24 writes", got)
	}
}

// Two replicas share windows in Redis, over one SQLite file as over PostgreSQL.
func TestReplicasShareWindows(t *testing.T) {
	t.Run("SQLite", func(t *testing.T) {
		dir := t.TempDir()
		testReplicas(t, func(c *service.Config) { c.DataDir = dir })
	})
	t.Run("PostgreSQL", func(t *testing.T) {
		db := startPostgres(t)
		testReplicas(t, func(c *service.Config) { onPostgres(c, db) })
	})
}

// testReplicas: two replicas over one store share windows in Redis; each sees what the other
// wrote, and an erased trainee is forgotten. A Redis that is gone changes no
// answer, and readiness stays green.
func testReplicas(t *testing.T, over func(*service.Config)) {
	redis := redistest.Start(t)
	replica := func() *running {
		return startWith(t, func(c *service.Config) {
			over(c)
			c.RedisURL, c.CheckWindows = service.Secret("redis://"+redis.Addr), 1
		})
	}
	one := replica()
	two := replica()
	one.trainee("t1")
	if _, err := one.phases().CreatePlan(one.ctx(), &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "cut", Plan: &pb.Plan{StartDate: day(0)}}); err != nil {
		t.Fatal(err)
	}
	ask := func(r *running) *pb.Recommendation {
		t.Helper()
		got, err := r.phases().Recommend(r.ctx(), &pb.RecommendRequest{Name: "trainees/t1/plans/cut", AsOfDate: day(30)})
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	for i := range 10 {
		w := one
		if i%2 == 1 {
			w = two
		}
		if _, err := w.logbook().CreateEntry(w.ctx(), &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: weighIn(i, 90+float64(i)/10)}); err != nil {
			t.Fatal(err)
		}
		a, b := ask(one), ask(two)
		if a.GetEvidence().GetReadingsUsed() != b.GetEvidence().GetReadingsUsed() || a.GetRevision() != b.GetRevision() {
			t.Fatalf("after entry %d: %v and %v", i, a.GetRevision(), b.GetRevision())
		}
	}
	for deadline := time.Now().Add(10 * time.Second); two.metric(t, "steelyard_bag_events_total", `event="hit"`) == 0; {
		if time.Now().After(deadline) {
			// On a machine that is busy enough Redis does not answer within its few
			// milliseconds. Then it must have been tried, at the least.
			if two.metric(t, "steelyard_bag_events_total", `event="get_failed"`)+two.metric(t, "steelyard_bag_events_total", `event="get_skipped"`) == 0 {
				t.Fatal("the second replica never asked Redis")
			}
			t.Log("Redis was too slow for its budget: no window was shared")
			break
		}
		if _, err := one.logbook().CreateEntry(one.ctx(), &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: weighIn(11, 91)}); err != nil {
			t.Fatal(err)
		}
		ask(one)
		time.Sleep(20 * time.Millisecond) // the fill is off the request's way
		ask(two)
	}
	if got := ask(one).GetSource(); got != pb.WindowSource_WINDOW_SOURCE_SNAPSHOT {
		t.Errorf("asked again: %v", got)
	}
	redis.Pause()
	for range 3 {
		ask(one)
		ask(two)
	}
	if got := one.admin("GET", "/readyz"); got.status != 200 {
		t.Errorf("readiness without Redis: %d %s", got.status, got.body)
	}
	for _, r := range []*running{one, two} {
		if body := string(r.admin("GET", "/metrics").body); !strings.Contains(body, "\nsteelyard_window_mismatches_total 0\n") {
			t.Error("windows differed, or nothing counts whether they do")
		}
	}
	if _, err := one.trainees().EraseTrainee(one.ctx(), &pb.EraseTraineeRequest{Name: "trainees/t1"}); err != nil {
		t.Fatal(err)
	}
	if one.metric(t, "steelyard_bag_events_total", `event="forget_failed"`) == 0 { // Redis is paused
		t.Error("nobody asked Redis to forget the erased trainee")
	}
	for _, r := range []*running{one, two} {
		if _, err := r.phases().Recommend(r.ctx(), &pb.RecommendRequest{Name: "trainees/t1/plans/cut"}); status.Code(err) != codes.NotFound {
			t.Errorf("after the erasure: %v", err)
		}
	}
}
